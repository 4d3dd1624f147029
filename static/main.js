/* Starts the page: sign-in, the form, the answer. */

import * as api from './api.js';
import {
  buildForm, clearFaults, clearForm, countGiven, faultsOf, fillForm, readRecord, refreshRows, refreshSide, refreshTallies, setNow,
  showFaults, useDonor, zoneAt,
} from './form.js';
import { chosen, nameOf, wireRows, wordOf } from './keys.js';
import { hideAnswer, markStale, showAnswer } from './answer.js';

const byId = (id) => document.getElementById(id);
const form = byId('exam');
const path = byId('path');
const answer = byId('answer');
const status = byId('status');

const page = { words: null, names: null, demo: false, answered: null, arm: null, busy: false };

const say = (text) => { status.textContent = text; };
const show = (selector, on) => { for (const node of document.querySelectorAll(selector)) node.hidden = !on; };

/* ---- signing in and out ---- */

function signedOut(reason) {
  show('[data-signed-in]', false);
  show('[data-answered]', false);
  byId('signed-out-reason').textContent = reason;
  byId('signed-out').hidden = false;
  byId('signed-out-title').focus();
  say('');
}

async function signIn() {
  const token = /^#signin=(.+)$/.exec(location.hash)?.[1];
  if (!token) return;
  history.replaceState(null, '', location.pathname); /* the token must not stay in the history or the address bar */
  try {
    await api.signIn(decodeURIComponent(token));
  } catch (problem) {
    if (!(problem instanceof api.Problem)) throw problem; /* a used link may still have its session: the next request tells */
  }
}

async function start() {
  try {
    await signIn();
    const words = await api.vocabulary(); /* answers only within a session */
    if (!page.words) {
      page.words = words;
      page.names = new api.Names(page.words);
      buildForm(form, path, page.words, page.names);
      page.arm = null;
      empty();
    }
    byId('signed-out').hidden = true;
    show('[data-signed-in]', true);
    update();
    say('Nothing recorded yet');
  } catch (problem) {
    if (!(problem instanceof api.Problem)) throw problem;
    signedOut(problem.status === 401 ? 'Sign in with the link printed by the server.' : `${problem.message}. Load this page again in a moment.`);
  }
}

async function signOut() {
  try {
    await api.signOut();
  } catch (problem) {
    say(`Not signed out: ${problem.message}`);
    return;
  }
  empty();
  page.words = null;
  form.querySelector('#parts').replaceChildren();
  signedOut('You have signed out. Sign in with the link printed by the server.');
}

/* ---- the form ---- */

/* After any change. What one row shows is settled by the row itself. */
function update() {
  refreshTallies(form, path);
  const side = form.elements.side.value;
  const given = countGiven(form);
  const arm = side ? `${side.charAt(0).toUpperCase()}${side.slice(1)} arm` : '';
  byId('side-now').textContent = arm || 'Side not chosen';
  byId('side-now').classList.toggle('chosen', Boolean(side));
  if (arm !== page.arm) refreshSide(form);
  page.arm = arm;
  document.title = arm ? `${arm} \u2013 Rootward` : 'Rootward';
  byId('recorded').textContent = `${given} recorded. The rest counts as not examined.`;
  show('[data-demo]', page.demo);
  if (page.answered) markStale(answer, JSON.stringify(readRecord(form)) !== page.answered);
  return given;
}

function empty() {
  clearForm(form);
  refreshRows(form);
  clearFaults(form);
  hideAnswer(answer);
  show('[data-answered]', false);
  document.body.classList.remove('answered');
  page.demo = false;
  page.answered = null;
  api.forgetSent();
}

async function loadDemo() {
  try {
    const record = await api.demo();
    empty();
    fillForm(form, record);
    refreshRows(form);
    page.demo = true;
    say(`Demo record loaded, ${update()} recorded`);
  } catch (problem) {
    say(`The demo record did not load: ${problem.message}`);
  }
}

function clearAll() {
  if (!window.confirm('Clear the whole form and its answer?')) return;
  empty();
  update();
  say('The form is empty');
  byId('exam-title').focus();
}

/* ---- the answer ---- */

function refuse(problem) {
  if (problem.status === 401) return signedOut('Your session has ended. Sign in with the link printed by the server; what you entered is kept in this tab until then.');
  if (problem.errors.length) showFaults(form, 'This record was not accepted', problem.errors, page.names);
  else {
    const unknown = problem.status === 0;
    const detail = unknown ? 'It is not known whether the record was saved. Press Assess again: it is safe, and makes no second record.' : problem.detail;
    showFaults(form, problem.message, [{ pointer: '', detail }], page.names);
  }
  say(problem.message);
}

async function submit(event) {
  event.preventDefault();
  if (page.busy) return;
  const record = readRecord(form);
  const faults = faultsOf(form, record);
  if (faults.length) {
    showFaults(form, 'Before this can be assessed', faults, page.names);
    say(`${faults.length} to put right`);
    return;
  }
  clearFaults(form);
  busy(true);
  say('Computing\u2026');
  try {
    const assessment = await api.assess(record);
    page.answered = JSON.stringify(record);
    document.body.classList.add('answered');
    show('[data-answered]', true);
    showAnswer(answer, assessment, { record, words: page.words, names: page.names, demo: page.demo });
    say('The answer is shown');
  } catch (problem) {
    if (!(problem instanceof api.Problem)) throw problem;
    refuse(problem);
  } finally {
    busy(false);
  }
}

function busy(on) {
  page.busy = on;
  for (const button of document.querySelectorAll('button[type=submit]')) button.setAttribute('aria-disabled', String(on));
}

/* ---- wiring ---- */

wireRows(form, (row) => {
  const radio = chosen(row);
  const given = update();
  const what = radio ? wordOf(radio) : row.querySelector('.state').textContent;
  say(`${nameOf(row)}: ${what} \u00B7 ${given} recorded`);
});
form.addEventListener('input', (event) => {
  if (event.target.name === 'examined_at') form.elements.zone.value = zoneAt(event.target.value);
  if (event.target.name === 'otherwise_normal') refreshRows(form);
  if (event.target.type !== 'radio') update();
});
form.addEventListener('submit', submit);
answer.addEventListener('click', (event) => {
  const donor = event.target.closest('[data-leave-out]')?.dataset.leaveOut;
  if (!donor || page.busy) return;
  useDonor(form, donor, 'donors_excluded');
  update();
  form.requestSubmit();
});
byId('load-demo').addEventListener('click', loadDemo);
byId('clear').addEventListener('click', clearAll);
byId('sign-out').addEventListener('click', signOut);
byId('try-again').addEventListener('click', start);
window.addEventListener('beforeprint', () => { /* nothing recorded may be missing on paper */
  for (const fold of form.querySelectorAll('details:has(.row.given)')) fold.open = true;
});
window.addEventListener('hashchange', () => { if (location.hash.startsWith('#signin=')) start(); });

setNow(form);
start();
