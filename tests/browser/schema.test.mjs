/* The schemas against the examples, against real answers, and against what the service itself refuses. */

import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { after, before, describe, test } from 'node:test';
import Ajv2020 from 'ajv/dist/2020.js';
import addFormats from 'ajv-formats';
import { ROOT, ROOTWARD, startService } from './service.mjs';

const SCHEMA = path.join(ROOT, 'schema');
const EXAMPLES = path.join(SCHEMA, 'examples');

const readJson = async (file) => JSON.parse(await readFile(file, 'utf8'));
const ajv = new Ajv2020({ strict: true, strictTypes: false, strictTuples: false, allErrors: true });
addFormats(ajv);
const check = {};

const faults = (validate, document) => (validate(document) ? [] : validate.errors.map((e) => `${e.instancePath} ${e.message}`));

/* `rootward assess -` with this text: what it prints and how it ends. */
function assess(text) {
  return new Promise((resolve, reject) => {
    const child = spawn(ROOTWARD, ['assess', '-'], { cwd: ROOT });
    let out = '', err = '';
    child.stdout.on('data', (chunk) => { out += chunk; });
    child.stderr.on('data', (chunk) => { err += chunk; });
    child.once('error', reject);
    child.once('close', (code) => resolve({ code, out, err }));
    child.stdin.end(text);
  });
}

before(async () => {
  for (const name of ['exam', 'assessment', 'problem', 'course']) check[name] = ajv.compile(await readJson(path.join(SCHEMA, `${name}.schema.json`)));
});

describe('records', () => {
  test('every example is valid, except the one that is meant to be bad', async () => {
    const names = (await readdir(EXAMPLES)).filter((name) => name.endsWith('.json'));
    assert.ok(names.includes('demo.json') && names.includes('bad.json'));
    for (const name of names) {
      const found = faults(check.exam, await readJson(path.join(EXAMPLES, name)));
      if (name === 'bad.json') assert.ok(found.length > 5, name);
      else assert.deepEqual(found, [], name);
    }
  });

  test('the demo record that the page loads is the example', async () => {
    assert.equal(await readFile(path.join(ROOT, 'static/demo.json'), 'utf8'), await readFile(path.join(EXAMPLES, 'demo.json'), 'utf8'));
  });

  /* One fault each in a good record; the schema and the program must both refuse it. */
  const mutants = {
    'a grade off the scale': (r) => { r.motor.deltoid_lateral = '6'; },
    'a grade between': (r) => { r.motor.deltoid_lateral = 2.5; },
    'an unknown muscle': (r) => { r.motor.biceps = '4'; },
    'an unknown member': (r) => { r.patient_name = 'withheld'; },
    'a wrong side': (r) => { r.side = 'both'; },
    'no side': (r) => { delete r.side; },
    'no time of examination': (r) => { delete r.examined_at; },
    'a time without zone': (r) => { r.examined_at = '2026-03-02T09:40:00'; },
    'a time with a blank': (r) => { r.examined_at = '2026-03-02 09:40:00Z'; },
    'a word for a yes or no': (r) => { r.signs.ptosis = 'no'; },
    'a word of another scale': (r) => { r.reflexes.biceps = 'painful'; },
    'a root without such skin': (r) => { r.sensation.roots.C9 = 'absent'; },
    'an age of 270': (r) => { r.age_years = 270; },
    'pain of 11': (r) => { r.pain_0_10 = 11; },
    'a name for a pseudonym': (r) => { r.subject = 'Jane Doe'; },
    'an unknown donor': (r) => { r.donor_limits.declined = ['left_leg']; },
    'an unknown donor asked for': (r) => { r.plan_options = { donors_fixed: ['left_leg'] }; },
    'a donor left out twice': (r) => { r.plan_options = { donors_excluded: ['phrenic', 'phrenic'] }; },
    'a priority that is no function': (r) => { r.plan_options = { priorities: ['biceps_brachii'] }; },
    'surgery on no day': (r) => { r.plan_options = { surgery_date: '2026-02-30' }; },
    'an unknown wish': (r) => { r.plan_options = { budget: 1 }; },
    'an unknown section as normal': (r) => { r.otherwise_normal = ['everything']; },
    'a mechanism that is none': (r) => { r.mechanism = 'fall'; },
    'another version': (r) => { r.exam_version = 2; },
    'nothing found': (r) => { for (const s of ['motor', 'movements', 'sensation', 'reflexes', 'signs', 'wasting', 'percussion', 'investigations', 'otherwise_normal']) delete r[s]; },
  };
  for (const [name, spoil] of Object.entries(mutants)) {
    test(`refused by schema and program: ${name}`, async () => {
      const record = await readJson(path.join(EXAMPLES, 'demo.json'));
      spoil(record);
      assert.notDeepEqual(faults(check.exam, record), [], 'by the schema');
      const { code, err } = await assess(JSON.stringify(record));
      assert.equal(code, 2, 'by the program');
      assert.deepEqual(faults(check.problem, JSON.parse(err)), []);
    });
  }

  test('the program reports every fault of the bad example that the schema finds', async () => {
    const text = await readFile(path.join(EXAMPLES, 'bad.json'), 'utf8');
    const { code, err } = await assess(text);
    assert.equal(code, 2);
    const problem = JSON.parse(err);
    assert.deepEqual(faults(check.problem, problem), []);
    const told = new Set(problem.errors.map((e) => e.pointer));
    check.exam(JSON.parse(text));
    const seen = check.exam.errors.filter((e) => !['oneOf', 'anyOf', 'if'].includes(e.keyword))
      .map((e) => (e.keyword === 'additionalProperties' ? `${e.instancePath}/${e.params.additionalProperty}` : e.instancePath));
    const covered = (pointer) => [...told].some((t) => t === pointer || t.startsWith(`${pointer}/`));
    assert.deepEqual([...new Set(seen)].filter((pointer) => !covered(pointer)), []);
  });
});

describe('answers', () => {
  const changed = {
    'as it is': () => {},
    'of a birth injury': (r) => { r.mechanism = 'birth'; r.age_years = 0.3; },
    'without onset, age or mechanism': (r) => { delete r.onset_at; delete r.age_years; delete r.mechanism; },
    'with all sections otherwise normal': (r) => { r.otherwise_normal = ['motor', 'sensation', 'reflexes', 'signs']; },
    'with something urgent': (r) => { r.signs.arm_pulse_absent = true; r.signs.open_wound = true; },
    'of one finding': (r) => { for (const s of Object.keys(r)) if (!['exam_version', 'side', 'examined_at'].includes(s)) delete r[s]; r.signs = { ptosis: true }; },
    'seen two years late': (r) => { r.onset_at = '2024-01-11'; },
    'with everything asked of the plan': (r) => { r.plan_options = { donors_fixed: ['intercostals'], donors_excluded: ['rhomboid'], priorities: ['shoulder_external_rotation', 'grip'], surgery_date: '2026-05-04' }; },
    'with an empty wish': (r) => { r.plan_options = {}; },
    'with a donor asked for that is declined': (r) => { r.plan_options = { donors_fixed: ['phrenic'] }; },
    'of five torn roots': (r) => {
      for (const muscle of Object.keys(r.motor)) if (muscle !== 'trapezius') r.motor[muscle] = '0';
      r.signs = { ptosis: true, miosis: true };
      r.investigations = { imaging: { root_avulsion: { C5: true, C6: true, C7: true, C8: true, T1: true } } };
      r.sensation = { roots: { C5: 'absent', C6: 'absent', C7: 'absent', C8: 'absent', T1: 'absent' } };
    },
  };
  for (const [name, change] of Object.entries(changed)) {
    test(`valid for the demo record ${name}`, async () => {
      const record = await readJson(path.join(EXAMPLES, 'demo.json'));
      change(record);
      const { code, out, err } = await assess(JSON.stringify(record));
      assert.equal(code, 0, err);
      assert.deepEqual(faults(check.exam, record), []);
      assert.deepEqual(faults(check.assessment, JSON.parse(out)), []);
    });
  }

  test('an answer with a figure out of range or a member missing is not valid', async () => {
    const { out } = await assess(await readFile(path.join(EXAMPLES, 'demo.json'), 'utf8'));
    const spoils = [(a) => { a.localisation.hypotheses[0].probability = 1.2; }, (a) => { delete a.cautions; }, (a) => { a.more = 1; }, (a) => { a.referral.how_soon = 'soon'; },
      (a) => { a.transfers.plans[0].steps[0].operation = 3; }, (a) => { delete a.transfers.donors[0].decided_by; }, (a) => { a.transfers.late_options = null; }];
    for (const spoil of spoils) {
      const answer = JSON.parse(out);
      spoil(answer);
      assert.notDeepEqual(faults(check.assessment, answer), []);
    }
  });

  test('several records, one a line, give as many lines', async () => {
    const line = JSON.stringify(await readJson(path.join(EXAMPLES, 'demo.json')));
    const { out } = await assess(`${line}\n${line}\n`);
    const lines = out.trimEnd().split('\n');
    assert.equal(lines.length, 2);
    assert.equal(lines[0], lines[1]);
    for (const text of lines) assert.deepEqual(faults(check.assessment, JSON.parse(text)), []);
  });
});

describe('the service', () => {
  let service, words, ask;
  before(async () => {
    service = await startService();
    const signed = await fetch(`${service.origin}/signin`, { method: 'POST', body: JSON.stringify({ token: service.link.split('#signin=')[1] }),
      headers: { 'Content-Type': 'application/json', Origin: service.origin } });
    assert.equal(signed.status, 200);
    const headers = { Cookie: signed.headers.get('set-cookie').split(';')[0], Origin: service.origin, 'Content-Type': 'application/json' };
    ask = async (where, record) => (await fetch(`${service.origin}${where}`, { headers, ...(record && { method: 'POST', body: JSON.stringify(record) }) })).json();
    words = await ask('/v1/vocabulary');
  });
  after(() => service?.stop());

  test('the course of two visits is valid, and one without its cautions is not', async () => {
    const first = await readJson(path.join(EXAMPLES, 'demo.json'));
    const second = structuredClone(first);
    second.examined_at = '2026-08-02T09:40:00Z';
    second.motor.biceps_brachii = '3';
    for (const record of [first, second]) await ask('/v1/assessments', record);
    const course = await ask(`/v1/subjects/${first.subject}/assessments`);
    assert.deepEqual(faults(check.course, course), []);
    assert.equal(course.visits.length, 2);
    assert.ok(course.injuries[0].changes.some((change) => change.pointer === '/motor/biceps_brachii' && change.direction === 'better'));
    delete course.cautions;
    assert.notDeepEqual(faults(check.course, course), []);
  });

  test('offers nothing that the schema refuses, and a word off its scale is refused', () => {
    const base = { exam_version: 1, side: 'left', examined_at: '2026-03-02T09:40:00Z' };
    const put = (pointer, value) => {
      const record = structuredClone(base);
      const names = pointer.slice(1).split('/');
      let at = record;
      for (const name of names.slice(0, -1)) at = at[name] ??= {};
      at[names.at(-1)] = value;
      return record;
    };
    assert.ok(words.checks.length > 300);
    for (const item of words.checks) {
      const { values } = words.scales.find((scale) => scale.id === item.scale);
      const yesNo = values.includes('true');
      for (const value of values) assert.deepEqual(faults(check.exam, put(item.pointer, yesNo ? value === 'true' : value)), [], `${item.pointer} ${value}`);
      assert.notDeepEqual(faults(check.exam, put(item.pointer, 'perhaps')), [], item.pointer);
    }
  });

  test('every id has words: no label is empty', () => {
    const nameless = ['sections', 'checks', 'mechanisms', 'donors', 'sites'].flatMap((list) => words[list].filter((item) => !item.label).map((item) => `${list} ${item.id}`));
    assert.deepEqual(nameless, []);
    assert.ok(words.cautions.every((caution) => caution.text));
  });
});
