/* Small parts of an answer: figures, dates, tables, lists, folds. */

import { el } from './form.js';

const SHOWN = 5; /* entries of a long list before the rest is folded */

export const list = (value) => value ?? [];
export const spaced = (id) => String(id).replaceAll('_', ' ');

/* No figure sounds surer than a model can be. */
export function percent(p) {
  if (p < 0.01) return 'under 1\u00A0%';
  if (p > 0.99) return 'over 99\u00A0%';
  return `${Math.round(p * 100)}\u00A0%`;
}

export function inWords(p) {
  if (p >= 0.95) return 'very likely';
  if (p >= 0.8) return 'likely';
  if (p >= 0.5) return 'more likely than not';
  if (p >= 0.2) return 'possible';
  if (p >= 0.05) return 'unlikely by itself';
  return 'remote';
}

/* Dates are days, so they are shown as given, whatever the zone of this computer. */
export function day(text) {
  if (!text) return 'not known';
  const date = new Date(`${text.slice(0, 10)}T00:00:00Z`);
  return Number.isNaN(date.getTime()) ? text : new Intl.DateTimeFormat(undefined, { dateStyle: 'medium', timeZone: 'UTC' }).format(date);
}
export const span = (dates) => `${day(list(dates)[0])} to ${day(list(dates)[1])}`;

/* A bar beside a figure; the figure says the same, so the bar is hidden from screen readers. */
function bar(p) {
  const ns = 'http://www.w3.org/2000/svg';
  const part = (tag, attributes) => {
    const node = document.createElementNS(ns, tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    return node;
  };
  const svg = part('svg', { class: 'bar-of', viewBox: '0 0 100 8', preserveAspectRatio: 'none', 'aria-hidden': 'true' });
  svg.append(part('rect', { class: 'all', width: 100, height: 8 }), part('rect', { class: 'share', width: Math.max(0, Math.min(100, p * 100)).toFixed(1), height: 8 }));
  return svg;
}

export const chance = (p) => el('span', { class: 'chance' }, bar(p), ' ', el('span', { class: 'figure' }, percent(p)));

export function table(caption, heads, rows) {
  return el('div', { class: 'scroll', role: 'group', 'aria-label': caption }, el('table', {},
    el('caption', {}, caption),
    el('thead', {}, el('tr', {}, heads.map((text) => el('th', { scope: 'col' }, text)))),
    el('tbody', {}, rows.map(([first, ...cells]) => el('tr', {}, el('th', { scope: 'row' }, first), cells.map((cell) => el('td', {}, cell)))))));
}

export const items = (entries, tag = 'ul', className = null) => el(tag, { class: className }, entries.map((entry) => el('li', {}, entry)));
export const folded = (title, ...content) => el('details', { class: 'fold' }, el('summary', {}, title), content);

/* The first entries in sight, the rest folded. `build` turns a list of entries into an element. */
export function firstOf(entries, noun, build) {
  const rest = entries.slice(SHOWN);
  return [build(entries.slice(0, SHOWN)), rest.length ? folded(`${rest.length} more ${noun}`, build(rest, SHOWN)) : null];
}

export function block(id, title, note, ...content) {
  const shown = content.flat(Infinity).filter(Boolean);
  if (shown.length === 0) return null;
  return el('section', { class: `block ${id}`, 'aria-labelledby': `${id}-title` },
    el('h3', { id: `${id}-title` }, title), note ? el('p', { class: 'soft' }, note) : null, shown);
}

export function titled(title, ...content) {
  const shown = content.flat().filter(Boolean);
  return shown.length ? [el('h4', {}, title), ...shown] : [];
}
