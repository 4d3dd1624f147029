/* The part of an answer on surgery: what was asked, the plans, late options, donors, what was rejected. */

import { capital } from './api.js';
import { el } from './form.js';
import { chance, day, firstOf, folded, items, list, percent, span, table, titled } from './view.js';

/* A function or a skin area. */
const gain = (id, names) => (names.functions.has(id) ? names.work(id) : `feeling, ${names.area(id)}`);
const strong = (lead, text) => el('p', {}, el('strong', {}, `${lead}: `), text);

/* What the record asked of the plan. */
function asked({ plan_options: o }, names) {
  if (!o) return [];
  const called = (ids) => list(ids).map((id) => names.donor(id)).join('; ');
  const lines = [['First', list(o.priorities).map((id) => names.work(id)).join(', then ')], ['To be used', called(o.donors_fixed)],
    ['Left out', called(o.donors_excluded)], ['Surgery on', o.surgery_date ? day(o.surgery_date) : '']].filter(([, text]) => text);
  return lines.length ? [el('div', { class: 'asked' }, el('p', {}, el('strong', {}, 'Planned as asked. '), lines.map(([lead, text]) => `${lead}: ${text}.`).join(' ')))] : [];
}

/* Where an earlier plan has the same step. */
function toldBefore(plans, rank, s) {
  for (const p of plans.filter((other) => other.rank < rank)) {
    const place = p.steps.findIndex((other) => other.transfer === s.transfer && other.operation === s.operation);
    if (place >= 0) return `as step ${place + 1} of plan ${p.rank}`;
  }
  return null;
}

/* The reason of a donor not known yet says what to examine, except of a stump. */
const namesCheck = (because) => because.includes('examine ');

function step(s, names, before) {
  const title = el('strong', {}, capital(names.transfer(s.transfer)));
  if (before) return [title, `, ${before}.`];
  const series = s.patients ? `${s.patients} published patient${s.patients === 1 ? '' : 's'}` : 'no published series with counts';
  const notes = list(s.notes).filter((note) => !note.startsWith('no published series')); /* said beside the figures */
  if (s.decided_by && !notes.some(namesCheck)) notes.push(`decided by: ${names.finding(s.decided_by)}`);
  return [
    title,
    el('p', {}, chance(s.p_useful), ` useful power (${list(s.interval).map(percent).join(' to ')}; ${series})`,
      list(s.reinnervation_expected).length ? `; first sign ${span(s.reinnervation_expected)}.` : '.'),
    el('p', {}, `For ${s.restores.map((id) => gain(id, names)).join(', ')}.`),
    notes.length ? items(notes.map(capital), 'ul', 'notes') : null,
    list(s.alternatives).length ? el('p', { class: 'soft' }, `Open instead: ${s.alternatives.map((id) => names.transfer(id)).join('; ')}.`) : null,
    el('div', { class: 'tools' },
      el('button', { type: 'button', class: 'small', 'data-leave-out': s.donor, 'aria-label': `Plan again without this donor: ${names.donor(s.donor)}` }, 'Plan again without this donor'),
      list(s.sources).length ? folded('Sources', items([...new Set(s.sources)], 'ul', 'source')) : null),
  ];
}

/* What is given up, donor by donor. */
function costs(p, names) {
  const byDonor = new Map();
  for (const { donor, function: id, grades } of list(p.donor_cost)) {
    if (!byDonor.has(donor)) byDonor.set(donor, []);
    if (id !== 'other') byDonor.get(donor).push(`${names.work(id)} ${grades.toFixed(1)}`);
  }
  const lines = [...byDonor].map(([donor, lost]) => `${capital(names.donor(donor))}: ${lost.length ? lost.join(', ') : 'no function counted here'}`);
  return lines.length ? [el('p', {}, el('strong', {}, 'What it costs, in grades')), items(lines)] : [];
}

function plan(p, plans, names) {
  const days = list(p.operations).map(day);
  const when = days.length > 1 ? `operations reckoned on ${days.join(' and ')}` : `operation reckoned on ${days[0]}`;
  return el('section', { class: 'plan', 'aria-labelledby': `plan-${p.rank}` },
    el('h5', { id: `plan-${p.rank}` }, `Plan ${p.rank} of ${plans.length}`),
    el('p', { class: 'soft' }, `Expected gain ${p.expected_gain.toFixed(1)}${days.length ? `; ${when}` : ''}.`),
    items(p.steps.map((s) => step(s, names, toldBefore(plans, p.rank, s))), 'ol'),
    costs(p, names),
    list(p.not_restored).length ? strong('Not restored', `${p.not_restored.map((id) => names.work(id)).join(', ')}.`) : null);
}

/* Entries of one reason together. */
function byReason(entries) {
  const groups = new Map();
  for (const entry of entries) groups.set(entry.because, [...(groups.get(entry.because) ?? []), entry]);
  return [...groups];
}

const named = (entries, names) => entries.map((entry) => names.transfer(entry.transfer)).join('; ');

function donors(t, names) {
  const because = (d) => (d.decided_by && !namesCheck(d.because) ? [d.because, el('span', { class: 'why' }, `Decided by: ${names.finding(d.decided_by)}`)] : d.because);
  const figures = (caption, state) => (entries) => table(caption, ['Donor', 'Because', 'Strong'],
    entries.map((d) => [capital(names.donor(d.donor)), [state ? `${d.state}: ` : '', because(d)], chance(d.p_strong)]));
  const of = (...states) => list(t.donors).filter((d) => states.includes(d.state));
  const usable = of('usable'), unknown = of('unknown'), rest = of('weak', 'involved', 'excluded');
  return titled('Donors', usable.length ? firstOf(usable, 'usable donors', figures('Usable, with the chance that the donor is strong')) : null,
    unknown.length ? folded(`${unknown.length} not known yet, with what decides them`, figures('Not known yet')(unknown)) : null,
    rest.length ? folded(`${rest.length} not offered`, figures('Not offered', true)(rest)) : null);
}

export function transfers(assessment, record, names) {
  const t = assessment.transfers;
  if (!t) return [];
  const plans = list(t.plans);
  const late = byReason(list(t.late_options));
  const rejected = list(t.rejected).filter((r) => r.serves_lost !== false);
  const reason = t.because ?? t.no_plan;
  return [
    ...titled('Nerve transfers to discuss', plans.length || !t.because ? asked(record, names) : null, plans.map((p) => plan(p, plans, names)),
      plans.length ? null : el('p', {}, reason ? `No plan: ${reason}.` : 'No plan is offered for this record.'),
      t.because ? null : el('p', {}, el('a', { href: '#what-if' }, 'Ask what if'), ': other donors, what matters most, another date.')),
    ...titled('Late options', late.map(([because, entries]) => strong(capital(because), `${named(entries, names)}.`))),
    ...donors(t, names),
    rejected.length ? folded(`${rejected.length} transfers not planned, and why`, items(byReason(rejected).map(([because, entries]) => [`${capital(named(entries, names))}: ${because}`]))) : null,
  ];
}
