/* Shows an assessment: what cannot wait, who should see it, then found, inferred, suggested, uncertain. */

import { capital } from './api.js';
import { el } from './form.js';
import { transfers } from './plan.js';
import { block, chance, day, firstOf, folded, inWords, items, list, percent, spaced, span, table, titled } from './view.js';

/* ---- first: what cannot wait, and who should see it ---- */

function urgent(assessment, names) {
  const matters = list(assessment.urgent);
  if (matters.length === 0) return null;
  return block('urgent', 'Urgent', null, items(matters.map((u) => [
    el('strong', {}, u.matter),
    el('span', { class: 'why' }, `Because of: ${list(u.because).map((p) => names.finding(p)).join(', ')}.`),
    el('span', { class: 'source' }, u.source),
  ])));
}

const SOON = { immediate: 'Refer at once', days: 'Refer within days', weeks: 'Refer within weeks', routine: 'Refer as routine' };

function referral({ referral: r }) {
  if (!r) return null;
  return block('referral', 'Referral', null, el('p', {}, el('strong', {}, `${SOON[r.how_soon] ?? spaced(r.how_soon)}. `), r.because, el('span', { class: 'source' }, r.source)));
}

/* ---- found ---- */

/* Every finding of the record that the vocabulary knows. */
function findingsOf(record, names) {
  const all = [];
  for (const [pointer, check] of names.checks) {
    const value = pointer.slice(1).split('/').reduce((at, member) => at?.[member], record);
    if (value !== undefined && typeof value !== 'object') all.push({ pointer, check, value: String(value) });
  }
  return all;
}

const WORDS = { true: 'yes', false: 'no' };

/* "No pulse: no" must never be read as "no pulse", so what was answered with no is never called normal. */
function parted(lead, leadNo, checks, names) {
  const line = (text, entries) => (entries.length ? el('p', {}, el('strong', {}, `${text}: `), `${entries.map((check) => names.finding(check.pointer)).join('; ')}.`) : null);
  const isQuestion = (check) => check.scale === 'bool';
  return [line(lead, checks.filter((check) => !isQuestion(check))), line(leadNo, checks.filter(isQuestion))];
}

function found(assessment, record, names, normalOf) {
  const all = findingsOf(record, names);
  const say = ({ pointer, value }) => `${capital(names.finding(pointer))}: ${WORDS[value] ?? value.replace('-', '\u2212')}`;
  const normal = all.filter(({ check, value }) => normalOf(check) === value);
  const other = all.filter((finding) => !normal.includes(finding));
  const filled = list(assessment.filled_in).map((pointer) => names.checks.get(pointer) ?? { pointer });
  return block('found', 'Found', 'As recorded by the examiner.',
    other.length ? items(other.map(say), 'ul', 'columns') : el('p', {}, 'Nothing outside the normal was recorded.'),
    parted('Normal', 'Answered \u201Cno\u201D', normal.map(({ check }) => check), names),
    parted('Taken as normal, by \u201Cthe rest is normal\u201D', 'Taken as answered \u201Cno\u201D, by the same', filled, names));
}

/* ---- inferred ---- */

function places(localisation, names) {
  if (!list(localisation.evidence).length) /* what is merely common must not look like an answer */
    return titled('Where the lesion is', el('p', { class: 'nothing' }, 'Nothing in this examination bears on the question, so no lesion is named. What to examine next stands below.'));
  const rivals = new Map(list(localisation.inseparable).map((rival) => [rival.hypothesis, rival])); /* by place in the list */
  const hypotheses = list(localisation.hypotheses).map((h, place) => ({ ...h, rival: rivals.get(place) }));
  const alike = ({ separated_by: check }) => `; this examination cannot tell it from the first (${check === null ? 'no check that is left would' : `${names.finding(check)} is most likely to tell them apart`})`;
  const together = hypotheses.reduce((sum, h) => sum + h.probability, 0);
  const build = (entries, from = 0) => el('ol', { class: 'hypotheses', start: String(from + 1) }, entries.map((h) => el('li', {},
    el('p', { class: 'summary' }, h.summary),
    el('p', {}, chance(h.probability), `, ${inWords(h.probability)}`, h.rival ? alike(h.rival) : ''),
    list(h.lesions).length > 1 ? el('p', { class: 'soft' }, h.lesions.map((lesion) => `${capital(names.site(lesion.site))}: ${lesion.severity}`).join('; ')) : null)));
  return titled('Where the lesion is', firstOf(hypotheses, 'explanations', build),
    el('p', {}, `The explanations listed hold ${percent(together)} of the probability. No lesion: ${percent(localisation.no_lesion ?? 0)}. Not a lesion of these nerves: ${percent(localisation.outside_plexus ?? 0)}.`));
}

function rootsAndLevels(localisation, names) {
  const levels = Object.entries(localisation.levels ?? {});
  if (!list(localisation.evidence).length) return [];
  return [
    ...titled('Roots', list(localisation.roots).length ? table('Each root, by where it is hurt', ['Root', 'Intact', 'Before the ganglion', 'Beyond the ganglion'],
      localisation.roots.map((r) => [r.root, chance(r.p_intact), chance(r.p_preganglionic), chance(r.p_postganglionic)])) : null),
    ...titled('Level nearest the cord', levels.length ? table('Probability of each level', ['Level', 'Probability'], levels.map(([level, p]) => [spaced(level), chance(p)])) : null),
    list(localisation.sites).length ? folded('Every site', table('Probability that each site is hurt', ['Site', 'Hurt', 'Completely'],
      localisation.sites.map((s) => [capital(names.site(s.site)), chance(s.p_injured), chance(s.p_complete)]))) : null,
  ];
}

/* log10 odds in words: the factor by which a finding moves the odds of the first explanation. */
function factor(log10) {
  const times = 10 ** Math.abs(log10);
  const figure = times >= 1000 ? 'over 1000' : times.toPrecision(times < 10 ? 2 : 3);
  return `${figure} times ${log10 < 0 ? 'down' : 'up'}`;
}

function evidence(localisation, names) {
  const build = (entries) => table('What each finding does to the odds of the first explanation, and which it fits best and worst', ['Finding', 'Odds of the first', 'Fits best', 'Fits worst'],
    entries.map((e) => [capital(names.finding(e.pointer)), factor(e.log10_odds), e.for ?? '', e.against ?? '']));
  return titled('Evidence', list(localisation.evidence).length ? firstOf(localisation.evidence, 'findings', build) : null);
}

/* What a patient cannot do stands under the function; a time that has passed has no figure. */
function deficits(assessment, names) {
  const { functions, sensation, sympathetic } = assessment.deficits ?? {};
  const lost = list(functions).filter((f) => f.p_useful < 0.8);
  const kept = list(functions).filter((f) => f.p_useful >= 0.8);
  const feeling = (entries) => (entries.length ? table('Skin, with the chance that feeling is lost', ['Area', 'Lost', 'Protective'],
    entries.map((s) => [capital(names.area(s.area)), chance(s.p_lost), s.protective ? 'yes' : 'no'])) : null);
  const later = (outlook) => (outlook ? percent(outlook.p_useful) : '\u2013');
  const row = (f) => [
    [capital(names.work(f.function)), f.cannot ? el('span', { class: 'why' }, `${f.p_useful < 0.05 ? 'Cannot' : 'Probably cannot'} ${f.cannot}`) : null],
    f.expected_grade.toFixed(1), chance(f.p_useful), later(f.unaided?.months_12), later(f.unaided?.months_24),
    f.p_recovers_unaided === null ? 'not said' : percent(f.p_recovers_unaided),
  ];
  const powers = (entries) => table('M3 or better: now, and without nerve surgery', ['Function', 'Grade', 'Now', '12 months', '24 months', 'Ever'], entries.map(row));
  return [
    ...titled('Functions lost or weak', lost.length ? firstOf(lost, 'functions', powers) : null,
      kept.length ? el('p', {}, el('strong', {}, 'Probably useful: '), `${kept.map((f) => names.work(f.function)).join(', ')}.`) : null),
    ...titled('Feeling', firstOf(list(sensation), 'areas', feeling),
    sympathetic ? el('p', {}, `Sympathetic supply lost: ${percent(sympathetic.p_lost)}.`) : null),
  ];
}

const FRONT = { ahead: 'further than expected', as_expected: 'as expected', behind: 'nothing radiates there: think of a rupture, a block, or a front between two points', not_percussed: 'not tapped there yet' };

function fronts(percussion, names) {
  const at = (point) => names.finding(point);
  return percussion.map((f) => `${capital(f.course)} nerve: the front should ${f.expected_mm[1] < 1 ? 'hardly have left the injury yet' : `stand ${f.expected_mm.map(Math.round).join(' to ')} mm from the injury`}` +
    `${f.expected_at.length ? ` (${f.expected_at.map(at).join(' or ')})` : ''}; ${FRONT[f.agrees]}${f.found_at ? `; radiates at: ${at(f.found_at)}` : ''}.`);
}

function recovery({ recovery: r }, names) {
  if (!r) return [];
  if (!list(r.muscles).length) return titled('Recovery', el('p', {}, r.because ? `${capital(r.because)}.` : 'No muscle is likely without its nerve.'));
  const back = (m) => [chance(m.p_block + m.p_regrows), m.p_block >= 0.05 && m.block_clears_by ? el('span', { class: 'why' }, `block, gone by ${day(m.block_clears_by)}: ${percent(m.p_block)}`) : null];
  const build = (entries) => table('Unaided: what may come back, and when', ['Muscle', 'Distance', 'Comes back', 'First sign', 'Reached until'],
    entries.map((m) => [capital(names.muscle(m.muscle)), `${Math.round(m.distance_mm)} mm`, back(m), m.first_sign_expected ? span(m.first_sign_expected) : m.moves ? 'moves already' : 'none expected', day(m.window_closes)]));
  const [site] = list(r.muscles[0].from);
  return titled('Recovery', el('p', {}, `Regrowth of ${list(r.rate_mm_per_day).join(' to ')} mm a day${site ? `, likeliest from: ${names.site(site.site)}` : ''}.`),
    firstOf(r.muscles, 'muscles', build), titled('Percussion', list(r.percussion).length ? items(fronts(r.percussion, names)) : null));
}

/* ---- suggested ---- */

function nextChecks(localisation, names) {
  const build = (entries, from = 0) => el('ol', { start: String(from + 1) }, entries.map((c) => el('li', {},
    el('strong', {}, capital(names.finding(c.finding))), `, ${c.bits.toFixed(2)} bits`,
    list(c.separates).length ? el('span', { class: 'why' }, `Tells apart: ${c.separates.map((h) => `\u201C${h}\u201D`).join(' and ')}.`) : null)));
  const telling = list(localisation.next_checks).filter((c) => c.bits >= 0.005); /* the others print as nothing */
  if (!telling.length) return [];
  return titled('Examine next', el('p', { class: 'soft' }, 'What tells most comes first; bits say how much each is expected to narrow the answer.'),
    firstOf(telling, 'checks', build));
}

function decideBy({ recovery: r }) {
  return r?.decide_by ? [el('p', { class: 'decide' }, el('strong', {}, `Decide on surgery by ${day(r.decide_by)}. `), r.decide_because ? `${capital(r.decide_because)}.` : 'Later, a transfer may not reach its muscle in time.')] : [];
}

/* ---- uncertain ---- */

function uncertain(assessment, names) {
  const { fit, left_out } = assessment.localisation ?? {};
  const unexplained = list(fit?.unexplained);
  const notExamined = list(assessment.not_examined);
  return block('uncertain', 'Uncertain', null,
    fit ? el('p', {}, `How surprising the examination is under the explanations above: ${fit.surprise.toFixed(2)} (0 as expected, 1 unexplained).`) : null,
    left_out === undefined ? null : el('p', {}, `Explanations left out of the sum: ${percent(left_out)} of the probability at most.`),
    titled('Not explained', unexplained.length ? items(unexplained.map((u) => `${capital(names.finding(u.pointer))}: found ${WORDS[u.observed] ?? u.observed}, expected ${WORDS[u.expected] ?? u.expected}`)) : null),
    titled('Cautions', list(assessment.cautions).length ? items(assessment.cautions) : null),
    notExamined.length ? folded(`${notExamined.length} findings not examined`, el('p', {}, `${notExamined.map((p) => names.finding(p)).join(', ')}.`)) : null);
}

/* ---- the whole ---- */

function head(assessment, record, names, demo) {
  const facts = [['Subject', record.subject ?? 'not given'], ['Examiner', record.examiner ?? 'not given'], ['Examined', record.examined_at.replace('T', ' ')],
    ['Injury or onset', record.onset_at ? day(record.onset_at) : 'not given'], ['Age', record.age_years ?? 'not given'],
    ['Mechanism', record.mechanism ? names.mechanism(record.mechanism) : 'not given'], ['Answer', assessment.id],
    ['Computed', String(assessment.computed_at).replace('T', ' ')],
    ['Engine', `${assessment.engine?.version}, knowledge ${String(assessment.engine?.knowledge).slice(0, 19)}`]];
  return el('header', {},
    el('h2', { id: 'answer-title', tabindex: '-1' }, `Answer, ${record.side} arm`),
    demo ? el('p', { class: 'demo-mark' }, el('strong', {}, 'Demo record.'), ' Invented clinic, invented patient.') : null,
    el('p', { class: 'stale', hidden: true }, 'The form has been changed since this answer.'),
    el('dl', { class: 'facts' }, facts.map(([name, value]) => el('div', {}, el('dt', {}, name), el('dd', {}, value)))));
}

export function showAnswer(holder, assessment, { record, words, names, demo }) {
  const normals = new Map(words.scales.map((scale) => [scale.id, scale.normal]));
  const localisation = assessment.localisation ?? {};
  const print = el('button', { type: 'button' }, 'Print');
  print.addEventListener('click', () => window.print());
  const back = el('a', { class: 'back', href: '#exam-title' }, 'Back to the form');
  holder.replaceChildren(...[
    head(assessment, record, names, demo),
    el('div', { class: 'tools' }, print, back),
    urgent(assessment, names),
    referral(assessment),
    found(assessment, record, names, (check) => normals.get(check.scale)),
    block('inferred', 'Inferred', 'Computed from the findings; each figure is a probability, not a measurement.',
      places(localisation, names), rootsAndLevels(localisation, names), evidence(localisation, names), deficits(assessment, names), recovery(assessment, names)),
    block('suggested', 'Suggested', 'For the clinician to weigh.',
      nextChecks(localisation, names), decideBy(assessment), transfers(assessment, record, names)),
    uncertain(assessment, names),
  ].filter(Boolean));
  holder.hidden = false;
  watchTables(holder);
  holder.scrollIntoView();
  holder.querySelector('#answer-title').focus({ preventScroll: true });
}

/* A table wider than its place scrolls, and then the keyboard must be able to reach it. */
const tables = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    if (target.scrollWidth > target.clientWidth) target.tabIndex = 0;
    else target.removeAttribute('tabindex');
  }
});
function watchTables(holder) {
  tables.disconnect();
  for (const node of holder.querySelectorAll('.scroll')) tables.observe(node);
}

export function markStale(holder, stale) {
  const note = holder.querySelector('.stale');
  if (note) note.hidden = !stale;
}

export function hideAnswer(holder) {
  holder.hidden = true;
  holder.replaceChildren();
}
