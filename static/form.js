/* The examination form: built from the vocabulary in bedside order, read into a record, filled from one. */

import { capital } from './api.js';
import { choose, clear, focusRow, nameOf, settle } from './keys.js';

/* An element with attributes and children; text only ever becomes text nodes. */
export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) node.setAttribute(name, '');
    else if (value !== false && value !== undefined && value !== null) node.setAttribute(name, value);
  }
  node.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
  return node;
}

/* The order of a bedside examination. A group lists items of one section, or takes all that no other
 * group lists, so that nothing in the vocabulary can be missing from the form. `fold`: folded away;
 * `more`: what is outside the standard bedside set is folded away. */
const PARTS = [
  { id: 'first', title: 'First of all', note: 'What cannot wait.', groups: [
    { section: 'signs', items: ['arm_pulse_absent', 'expanding_swelling', 'open_wound', 'long_tract_signs', 'breathless'] },
  ] },
  { id: 'looking', title: 'Looking', rest: 'signs', groups: [
    { title: 'Shoulder and hand', section: 'signs' },
    { title: 'Wasting', section: 'wasting', fold: true },
    { title: 'Eyes', section: 'signs', items: ['ptosis', 'miosis', 'anhidrosis', 'dilation_lag'] },
  ] },
  { id: 'skin', title: 'Skin', rest: 'sensation', groups: [
    { title: 'By root', section: 'sensation/roots' },
    { title: 'By nerve', section: 'sensation/nerves' },
  ] },
  { id: 'reflexes', title: 'Reflexes', rest: 'reflexes', groups: [{ section: 'reflexes' }] },
  { id: 'muscles', title: 'Muscles', rest: 'motor', note: 'From the shoulder girdle to the hand.', groups: [
    { title: 'Shoulder girdle', section: 'motor', more: true, items: ['trapezius', 'sternocleidomastoid', 'levator_scapulae',
      'rhomboids', 'serratus_anterior', 'diaphragm'] },
    { title: 'Shoulder', section: 'motor', more: true, items: ['supraspinatus', 'infraspinatus', 'teres_minor', 'subscapularis',
      'deltoid_anterior', 'deltoid_lateral', 'deltoid_posterior', 'pectoralis_major_clavicular', 'pectoralis_major_sternal',
      'pectoralis_minor', 'latissimus_dorsi', 'teres_major', 'coracobrachialis'] },
    { title: 'Elbow and forearm', section: 'motor', more: true, items: ['biceps_brachii', 'brachialis', 'brachioradialis',
      'triceps_long_head', 'triceps_lateral_head', 'triceps_medial_head', 'anconeus', 'supinator', 'pronator_teres',
      'pronator_quadratus'] },
    { title: 'Wrist and fingers', section: 'motor', more: true, items: ['extensor_carpi_radialis_longus',
      'extensor_carpi_radialis_brevis', 'extensor_carpi_ulnaris', 'flexor_carpi_radialis', 'palmaris_longus',
      'flexor_carpi_ulnaris', 'extensor_digitorum', 'extensor_indicis', 'extensor_digiti_minimi',
      'flexor_digitorum_superficialis', 'flexor_digitorum_profundus_radial', 'flexor_digitorum_profundus_ulnar'] },
    { title: 'Thumb and hand', section: 'motor', more: true, items: ['extensor_pollicis_longus', 'extensor_pollicis_brevis',
      'abductor_pollicis_longus', 'flexor_pollicis_longus', 'flexor_pollicis_brevis', 'abductor_pollicis_brevis',
      'opponens_pollicis', 'adductor_pollicis', 'first_dorsal_interosseous', 'dorsal_interossei', 'palmar_interossei',
      'abductor_digiti_minimi', 'lumbricals_radial', 'lumbricals_ulnar'] },
    { title: 'Graded together, where the parts were not told apart', section: 'motor', fold: true },
  ] },
  { id: 'movements', title: 'Movements', note: 'Where movements were graded rather than muscles.', groups: [{ section: 'movements' }] },
  { id: 'percussion', title: 'Percussion', note: 'Tap along the nerve from the hand upwards.', groups: [
    { title: 'Median nerve', section: 'percussion', items: ['digital_median', 'carpal_tunnel', 'elbow_median', 'arm_median', 'axilla_median'] },
    { title: 'Ulnar nerve', section: 'percussion', items: ['wrist_ulnar', 'elbow_ulnar', 'arm_ulnar'] },
    { title: 'Radial nerve', section: 'percussion', items: ['first_web', 'forearm_radial', 'spiral_groove', 'arm_radial'] },
    { title: 'Shoulder and neck', section: 'percussion', items: ['quadrilateral_space', 'infraclavicular', 'supraclavicular_lower',
      'supraclavicular_middle', 'supraclavicular_upper'] },
    { section: 'percussion' },
  ] },
  { id: 'pain', title: 'Pain and daily life', groups: [{ section: 'signs', items: ['deafferentation_pain'] }], build: painFields },
  { id: 'investigations', title: 'Investigations', groups: [
    { section: 'investigations/hemidiaphragm' },
    { section: 'investigations/imaging/pseudomeningocele', fold: true },
    { section: 'investigations/imaging/root_avulsion', fold: true },
    { section: 'investigations/snap', fold: true },
    { section: 'investigations/cmap', fold: true },
    { section: 'investigations/emg/denervation', fold: true },
    { section: 'investigations/emg/recruitment', fold: true },
    { section: 'investigations/paraspinal_denervation', fold: true },
  ] },
  { id: 'donor-limits', title: 'Limits on donors', note: 'What must not be taken for a transfer.', groups: [], build: donorFields },
  { id: 'what-if', title: 'What if', note: 'Asked of the plan alone; blank asks nothing.', groups: [], build: optionFields },
];

const REST = {
  motor: 'The rest of the standard set of muscles was examined and is normal',
  sensation: 'The rest of the standard skin areas was examined and is normal',
  reflexes: 'The other standard reflexes were examined and are normal',
  signs: 'The other standard signs were looked for and are absent',
};

/* Findings that belong to neither arm, so the side is not said beside them. */
const UNSIDED = new Set(['long_tract_signs', 'breathless']);

/* ---- one row ---- */

/* The words of a scale with a key each: a digit for grades, else the first free letter, the normal word first. */
function scaleWords(scale) {
  const boolean = scale.values.includes('true');
  const words = scale.values.filter((value) => !/^\d[+-]$/.test(value)).map((value) => ({
    value,
    text: boolean ? { true: 'yes', false: 'no' }[value] : value,
    shades: /^\d$/.test(value) ? scale.values.filter((v) => v.length === 2 && v.startsWith(value)) : [],
  }));
  const taken = new Set();
  const byImportance = [...words].sort((a, b) => (b.value === scale.normal) - (a.value === scale.normal));
  for (const word of byImportance) {
    word.key = [...word.text].find((letter) => !taken.has(letter));
    taken.add(word.key);
  }
  return words;
}

/* The word with its key underlined; a digit is its own key. */
function keyed(text, key) {
  const at = text.indexOf(key);
  if (text.length === 1 || at < 0) return [text];
  return [text.slice(0, at), el('span', { class: 'key' }, key), text.slice(at + 1)];
}

function choice(name, word) {
  const graded = /^\d$/.test(word.value);
  return el('label', { class: 'choice' },
    el('input', {
      type: 'radio', name, value: word.value, 'data-key': word.key,
      'data-base': graded ? word.value : null, 'data-shades': word.shades.join(' ') || null,
    }),
    el('span', {}, keyed(word.text, word.key)));
}

function row(check, label, scale) {
  const name = check.pointer.slice(1);
  const words = scaleWords(scale);
  const sided = !UNSIDED.has(check.id);
  const button = (text, title, sign) =>
    el('button', { type: 'button', tabindex: '-1', hidden: true, title, 'aria-label': `${title}: ${label}`, 'data-sign': sign }, text);
  const shadeable = words.some((word) => word.shades.length > 0);
  const id = `row-${name.replaceAll('/', '-')}`;
  const node = el('fieldset', {
    class: 'row', id, 'data-pointer': check.pointer, 'data-boolean': scale.values.includes('true'), 'aria-describedby': check.help ? `${id}-help` : null,
  },
    el('legend', {},
      el('span', { class: 'name' }, label),
      sided ? el('span', { class: 'side', 'data-side-word': true }) : null),
    el('div', { class: 'choices' }, words.map((word) => choice(name, word))),
    el('div', { class: 'after' },
      el('p', { class: 'state' }),
      shadeable ? [button('\u2212', 'a shade less', '-'), button('+', 'a shade more', '+')] : null,
      button('\u2715', 'clear')),
    check.help ? el('p', { class: 'help', id: `${id}-help` }, check.help) : null);
  if (check.standard) node.dataset.standard = check.section.split('/')[0];
  settle(node);
  return node;
}

/* ---- sections ---- */

function fold(title, rows) {
  return el('details', { class: 'fold' }, el('summary', {}, title, ' ', el('span', { class: 'soft tally' })), rows);
}

function restBox(section, rows) {
  const id = `rest-${section}`;
  const standard = rows.filter((r) => r.dataset.standard === section).map(nameOf);
  const note = standard.length <= 12 ? standard.join(', ') : `${standard.length} muscles, those shown outside the folds`;
  return el('div', { class: 'rest', 'data-pointer': '/otherwise_normal' },
    el('input', { type: 'checkbox', id, name: 'otherwise_normal', value: section, 'aria-describedby': `${id}-note` }),
    el('label', { for: id }, REST[section] ?? `The rest of ${section} is normal`),
    el('p', { class: 'help', id: `${id}-note` }, `Standard set: ${note}.`));
}

function buildGroup(group, checks, words, names) {
  const scales = new Map(words.scales.map((scale) => [scale.id, scale]));
  const make = (list) => list.map((check) => row(check, capital(names.check(check)), scales.get(check.scale)));
  const title = group.title ?? words.sections.find((section) => section.id === group.section)?.label;
  if (checks.length === 0) return [];
  if (group.fold) return [fold(title, make(checks))];
  const more = group.more ? checks.filter((check) => !check.standard) : [];
  return [
    title && !group.plain ? el('h3', {}, title) : null,
    ...make(checks.filter((check) => !more.includes(check))),
    more.length ? fold(`More of: ${title.toLowerCase()}`, make(more)) : null,
  ];
}

/* The checks of a group: those it lists, or those that nobody lists; in bedside order, then as listed. */
function checksOf(group, words, listed) {
  const mine = words.checks.filter((check) => check.section === group.section &&
    (group.items ? group.items.includes(check.id) : !listed.has(`${check.section}/${check.id}`)));
  const place = (check) => (group.items ? group.items.indexOf(check.id) : words.checks.indexOf(check));
  return mine.sort((a, b) => a.order - b.order || place(a) - place(b));
}

function field(pointer, label, control) {
  return el('div', { class: 'field', 'data-pointer': pointer }, el('label', { for: control.id }, label), control);
}

function painFields() {
  const routine = [['', 'not asked'], ['independent', 'independent'], ['some_help', 'with some help'], ['unable', 'unable']];
  return el('div', { class: 'fields' },
    field('/pain_0_10', 'Worst pain in the last week, 0 to 10',
      el('input', { type: 'number', id: 'pain-score', name: 'pain_0_10', min: '0', max: '10', step: '1', inputmode: 'numeric' })),
    field('/daily_routine', 'Carrying out a daily routine',
      el('select', { id: 'daily-routine', name: 'daily_routine' }, options(routine))));
}

function ticks(name, legend, donors) {
  return el('fieldset', { class: 'ticks', 'data-pointer': `/donor_limits/${name}` }, el('legend', {}, legend),
    donors.map((donor) => el('label', {}, el('input', { type: 'checkbox', name, value: donor.id }), ` ${donor.label}`)));
}

function donorFields(words) {
  return [
    el('div', { class: 'rest', 'data-pointer': '/donor_limits/rib_fractures' },
      el('input', { type: 'checkbox', id: 'ribs', name: 'rib_fractures' }),
      el('label', { for: 'ribs' }, 'Rib fractures on this side')),
    el('details', { class: 'fold' }, el('summary', {}, 'Donors declined or already used'),
      ticks('declined', 'Declined by the patient', words.donors),
      ticks('used', 'Used in an earlier operation', words.donors)),
  ];
}

const options = (entries) => entries.map(([value, text]) => el('option', { value }, text));

/* What is asked of the plan: a date, what matters most, and for each donor whether it must or must not be used. */
function optionFields(words) {
  const functions = [['', 'as usual'], ...words.functions.map((work) => [work.id, work.label])];
  const priority = (label, i) => field(null, label, el('select', { id: `priority-${i}`, 'data-priority': true }, options(functions)));
  const uses = [['', 'as the plan finds'], ['donors_fixed', 'use it'], ['donors_excluded', 'leave it out']];
  return [
    el('div', { class: 'fields', 'data-pointer': '/plan_options' },
      field('/plan_options/surgery_date', 'Surgery on', el('input', { type: 'date', id: 'surgery-date', name: 'surgery_date' }))),
    el('fieldset', { class: 'fields', 'data-pointer': '/plan_options/priorities' }, el('legend', {}, 'What matters most'),
      ['First', 'Second', 'Third'].map(priority)),
    el('details', { class: 'fold' }, el('summary', {}, 'Donors to use or to leave out'),
      el('div', { class: 'fields' }, words.donors.map((donor) => field(null, capital(donor.label),
        el('select', { id: `use-${donor.id}`, 'data-donor': donor.id }, options(uses)))))),
    el('div', { class: 'tools' }, el('button', { type: 'submit' }, 'Plan again')),
  ];
}

function buildPart(part, words, names, listed) {
  const section = el('section', { class: 'part', id: part.id, 'aria-labelledby': `${part.id}-title` },
    el('h2', { id: `${part.id}-title`, tabindex: '-1' }, part.title, el('span', { 'data-side-words': true })),
    part.note ? el('p', { class: 'soft' }, part.note) : null);
  const lone = part.groups.length === 1;
  for (const group of part.groups) section.append(...buildGroup({ ...group, plain: lone && !group.title }, checksOf(group, words, listed), words, names).filter(Boolean));
  if (part.build) section.append(...[part.build(words)].flat());
  return section;
}

/* Sections of the vocabulary that no part knows still get a place. */
function others(words) {
  const known = new Set(PARTS.flatMap((part) => part.groups.map((group) => group.section)));
  const groups = words.sections.filter((section) => !known.has(section.id)).map((section) => ({ section: section.id, title: section.label }));
  return groups.length ? [{ id: 'others', title: 'Others', groups }] : [];
}

/* Builds all parts into `form`, with the list of links to them in `path`. */
export function buildForm(form, path, words, names) {
  const parts = [...PARTS, ...others(words)];
  const listed = new Set(parts.flatMap((part) => part.groups.flatMap((group) => (group.items ?? []).map((item) => `${group.section}/${item}`))));
  const holder = form.querySelector('#parts');
  holder.replaceChildren(...parts.map((part) => buildPart(part, words, names, listed)));
  const rows = [...holder.querySelectorAll('.row')];
  for (const part of parts.filter((p) => p.rest)) holder.querySelector(`#${part.id}`).append(restBox(part.rest, rows));
  form.elements.mechanism.replaceChildren(el('option', { value: '' }, 'not given'),
    ...words.mechanisms.map((mechanism) => el('option', { value: mechanism.id }, mechanism.label)));
  path.replaceChildren(...[{ id: 'visit', title: 'Visit' }, ...parts].map((part) =>
    el('li', { 'data-part': part.id }, el('a', { href: `#${part.id}` }, part.title), el('span', { class: 'tally' }))));
}

/* ---- what the form shows about itself ---- */

const rowsOf = (form) => [...form.querySelectorAll('#parts .row')];
const givenIn = (node) => node.querySelectorAll('.row input[type=radio]:checked').length;
export const countGiven = (form) => givenIn(form.querySelector('#parts'));

/* Which rows count as normal because their section was ticked "the rest is normal". */
export function refreshRows(form) {
  const rest = new Set(ticked(form, 'otherwise_normal'));
  for (const node of rowsOf(form)) {
    node.classList.toggle('assumed', rest.has(node.dataset.standard));
    settle(node);
  }
  settle(form.querySelector('.row[data-required]'));
}

export function refreshSide(form) {
  const side = form.elements.side.value;
  for (const word of document.querySelectorAll('[data-side-word]')) word.textContent = side;
  for (const word of document.querySelectorAll('[data-side-words]')) word.textContent = side ? `, ${side} arm` : '';
}

export function refreshTallies(form, path) {
  for (const folded of form.querySelectorAll('#parts .fold:has(> .row)')) {
    const given = givenIn(folded);
    const all = folded.querySelectorAll('.row').length;
    folded.querySelector('.tally').textContent = given ? `${given} of ${all} recorded` : `(${all})`;
  }
  for (const item of path.children) {
    const part = form.querySelector(`#${item.dataset.part}`);
    const visit = item.dataset.part === 'visit';
    const given = givenIn(part);
    const entered = !visit && [...part.querySelectorAll('.field :is(input, select)')].some((control) => control.value !== '');
    item.classList.toggle('has', given > 0 || entered || Boolean(part.querySelector('[type=checkbox]:checked')));
    item.querySelector('.tally').textContent = given && !visit ? ` ${given}` : '';
  }
}

/* ---- time ---- */

const two = (n) => String(n).padStart(2, '0');
const localText = (d) => `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}T${two(d.getHours())}:${two(d.getMinutes())}`;

/* This computer's offset from UTC at a local time, as "+01:00". */
export function zoneAt(text) {
  const minutes = -new Date(text).getTimezoneOffset();
  if (Number.isNaN(minutes)) return '';
  return `${minutes < 0 ? '-' : '+'}${two(Math.floor(Math.abs(minutes) / 60))}:${two(Math.abs(minutes) % 60)}`;
}

export function setNow(form) {
  form.elements.examined_at.value = localText(new Date());
  form.elements.zone.value = zoneAt(form.elements.examined_at.value);
}

/* ---- record out ---- */

function put(record, path, value) {
  let at = record;
  for (const member of path.slice(0, -1)) at = at[member] ??= {};
  at[path.at(-1)] = value;
}

const ticked = (form, name) => [...form.querySelectorAll(`[name=${name}]:checked`)].map((box) => box.value);

export function readRecord(form) {
  const { elements } = form;
  const record = { exam_version: 1 };
  for (const name of ['subject', 'examiner', 'side']) if (elements[name].value.trim()) record[name] = elements[name].value.trim();
  if (elements.examined_at.value) {
    const seconds = elements.examined_at.value.length === 16 ? ':00' : '';
    record.examined_at = elements.examined_at.value + seconds + elements.zone.value.trim();
  }
  for (const name of ['onset_at', 'mechanism', 'daily_routine']) if (elements[name].value) record[name] = elements[name].value;
  for (const name of ['age_years', 'pain_0_10']) if (elements[name].value !== '') record[name] = elements[name].valueAsNumber;
  for (const radio of form.querySelectorAll('#parts .row input[type=radio]:checked')) {
    const { pointer, boolean } = radio.closest('.row').dataset;
    put(record, pointer.slice(1).split('/'), boolean === undefined ? radio.value : radio.value === 'true');
  }
  const normal = ticked(form, 'otherwise_normal');
  if (normal.length) record.otherwise_normal = normal;
  const limits = { rib_fractures: elements.rib_fractures.checked, declined: ticked(form, 'declined'), used: ticked(form, 'used') };
  if (limits.rib_fractures || limits.declined.length || limits.used.length) record.donor_limits = limits;
  const asked = readOptions(form);
  if (Object.keys(asked).length) record.plan_options = asked;
  return record;
}

function readOptions(form) {
  const asked = {};
  for (const { value, dataset } of form.querySelectorAll('[data-donor]')) if (value) (asked[value] ??= []).push(dataset.donor);
  const priorities = [...form.querySelectorAll('[data-priority]')].map((select) => select.value).filter(Boolean);
  if (priorities.length) asked.priorities = priorities;
  if (form.elements.surgery_date.value) asked.surgery_date = form.elements.surgery_date.value;
  return asked;
}

function fillOptions(form, asked = {}) {
  for (const use of ['donors_fixed', 'donors_excluded']) for (const donor of asked[use] ?? []) useDonor(form, donor, use);
  form.querySelectorAll('[data-priority]').forEach((select, i) => { select.value = asked.priorities?.[i] ?? ''; });
  form.elements.surgery_date.value = asked.surgery_date ?? '';
}

/* `use`: "donors_fixed", "donors_excluded" or "". */
export function useDonor(form, donor, use) {
  const select = form.querySelector(`[data-donor="${CSS.escape(donor)}"]`);
  if (select) select.value = use;
}

/* What can be said without asking the service, in its own shape. */
export function faultsOf(form, record) {
  const faults = [];
  if (!record.side) faults.push({ pointer: '/side', detail: 'Choose the side that was examined.' });
  if (!record.examined_at) faults.push({ pointer: '/examined_at', detail: 'Give the date and time of the examination.' });
  else if (!/([+-]\d\d:\d\d|Z)$/.test(record.examined_at)) faults.push({ pointer: '/examined_at', detail: 'Give the offset from UTC as +00:00.' });
  for (const name of ['age_years', 'pain_0_10', 'onset_at', 'examined_at', 'surgery_date']) {
    if (form.elements[name].validity.badInput) faults.push({ pointer: form.elements[name].closest('[data-pointer]').dataset.pointer, detail: 'This entry cannot be read.' });
  }
  if (countGiven(form) === 0 && !record.otherwise_normal) faults.push({ pointer: '', detail: 'Record at least one finding.' });
  return faults;
}

/* ---- record in ---- */

const at = (record, path) => path.reduce((value, member) => value?.[member], record);

export function clearForm(form) {
  form.reset();
  for (const node of rowsOf(form)) clear(node);
  setNow(form);
}

export function fillForm(form, record) {
  clearForm(form);
  const { elements } = form;
  for (const name of ['subject', 'examiner', 'side', 'onset_at', 'mechanism', 'daily_routine', 'age_years', 'pain_0_10']) {
    if (record[name] !== undefined) elements[name].value = record[name];
  }
  const time = /^(\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d)?)[\d.]*(Z|[+-]\d\d:\d\d)$/i.exec(record.examined_at ?? '');
  if (time) {
    elements.examined_at.value = time[1].replace(/:00$/, (s) => (time[1].length === 19 ? '' : s));
    elements.zone.value = time[2].toUpperCase() === 'Z' ? '+00:00' : time[2];
  }
  for (const node of rowsOf(form)) {
    const value = at(record, node.dataset.pointer.slice(1).split('/'));
    if (value !== undefined) choose(node, String(value));
  }
  const tick = (name, values = []) => { for (const value of values) { const box = form.querySelector(`[name=${name}][value="${CSS.escape(value)}"]`); if (box) box.checked = true; } };
  tick('otherwise_normal', record.otherwise_normal);
  tick('declined', record.donor_limits?.declined);
  tick('used', record.donor_limits?.used);
  elements.rib_fractures.checked = Boolean(record.donor_limits?.rib_fractures);
  fillOptions(form, record.plan_options);
}

/* ---- faults beside their fields ---- */

function openAround(node) {
  for (let outer = node.closest('details'); outer; outer = outer.parentElement.closest('details')) outer.open = true;
}

function holderOf(form, pointer) {
  for (let p = pointer; p; p = p.slice(0, p.lastIndexOf('/'))) {
    const node = form.querySelector(`[data-pointer="${CSS.escape(p)}"]`);
    if (node) return node;
  }
  return null;
}

const controlOf = (holder) => holder.querySelector('input:not([type=radio]), select') ?? holder.querySelector('input');

function goTo(holder) {
  openAround(holder);
  if (holder.classList.contains('row')) focusRow(holder);
  else controlOf(holder).focus();
}

/* Sets which fault an element is described by, leaving its other descriptions alone. */
function describe(node, fault) {
  const kept = (node.getAttribute('aria-describedby') ?? '').split(' ').filter((id) => id && !id.startsWith('fault-'));
  if (fault) kept.push(fault);
  if (kept.length) node.setAttribute('aria-describedby', kept.join(' '));
  else node.removeAttribute('aria-describedby');
}

export function clearFaults(form) {
  for (const note of form.querySelectorAll('.fault')) note.remove();
  for (const node of form.querySelectorAll('[aria-describedby*="fault-"]')) describe(node, null);
  for (const node of form.querySelectorAll('[aria-invalid]')) node.removeAttribute('aria-invalid');
  form.querySelector('#faults').hidden = true;
}

/* Shows every fault beside its field and all of them in a summary that takes the focus. */
export function showFaults(form, title, faults, names) {
  clearFaults(form);
  const items = faults.map(({ pointer, detail }, i) => {
    const holder = holderOf(form, pointer);
    if (!holder) return el('li', {}, pointer ? `${pointer}: ${detail}` : detail);
    const id = `fault-${i}`;
    holder.append(el('p', { class: 'fault', id }, detail));
    const target = holder.classList.contains('row') ? holder : controlOf(holder);
    if (target !== holder) target.setAttribute('aria-invalid', 'true');
    describe(target, id);
    openAround(holder);
    const link = el('a', { href: `#${target.id || 'visit'}` }, `${fieldName(holder, pointer, names)}: ${detail}`);
    link.addEventListener('click', (event) => { event.preventDefault(); goTo(holder); });
    return el('li', {}, link);
  });
  form.querySelector('#faults-title').textContent = title;
  form.querySelector('#fault-list').replaceChildren(...items);
  const summary = form.querySelector('#faults');
  summary.hidden = false;
  summary.focus();
}

function fieldName(holder, pointer, names) {
  if (holder.classList.contains('row')) return nameOf(holder);
  const label = holder.querySelector('label, legend');
  return label ? capital(label.firstChild.textContent.trim()) : names.finding(pointer);
}
