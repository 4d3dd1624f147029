/* The page against the real service, in Debian's Chromium. Run after `npm ci` and a build: node --test */

import assert from 'node:assert/strict';
import { readdir, readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import path from 'node:path';
import { after, afterEach, before, describe, test } from 'node:test';
import { ESLint } from 'eslint';
import { HtmlValidate } from 'html-validate';
import { ROOT, startBrowser, startService } from './service.mjs';

const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
const WCAG = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'];
const STATIC = path.join(ROOT, 'static');

let service, browser, session;
const opened = [];

/* A page of its own that keeps a log of its requests and complaints. */
async function open(options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, storageState: session, ...options });
  context.setDefaultTimeout(10000);
  opened.push(context);
  const page = await context.newPage();
  page.log = { requests: [], complaints: [] };
  page.on('request', (request) => page.log.requests.push(request.url()));
  page.on('console', (message) => { if (['error', 'warning'].includes(message.type())) page.log.complaints.push(message.text()); });
  page.on('pageerror', (error) => page.log.complaints.push(String(error)));
  return page;
}

async function openForm(options) {
  const page = await open(options);
  await page.goto(service.origin);
  await page.waitForSelector('#parts .row');
  return page;
}

async function loadDemo(page) {
  await page.click('#load-demo');
  await page.waitForSelector('#parts .row.given');
}

async function assess(page) {
  await page.click('#assess');
  await page.waitForSelector('#answer:not([hidden]) #answer-title', { timeout: 20000 });
}

const rowOf = (page, pointer) => page.locator(`.row[data-pointer="${pointer}"]`);
const focusRow = (page, pointer) => rowOf(page, pointer).locator('input').first().focus();
const valueOf = (page, pointer) => rowOf(page, pointer).evaluate((row) => row.querySelector('input:checked')?.value ?? null);
const focusedRow = (page) => page.evaluate(() => document.activeElement.closest('.row')?.dataset.pointer ?? null);
const pick = (page, pointer, value) => rowOf(page, pointer).locator(`input[value="${value}"]`).click();
const demoRecord = (page) => page.evaluate(async () => (await fetch('/demo.json')).json());

async function axe(page, within = 'html') {
  await page.evaluate(await readFile(AXE, 'utf8'));
  const { violations } = await page.evaluate(([root, tags]) => window.axe.run(root, { runOnly: { type: 'tag', values: tags }, resultTypes: ['violations'] }), [within, WCAG]);
  return violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(' | ')}`);
}

const overflow = (page) => page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);

before(async () => {
  service = await startService();
  browser = await startBrowser();
});

afterEach(async () => {
  for (const context of opened.splice(0)) await context.close();
});

after(async () => {
  await browser?.close();
  await service?.stop();
});

describe('sign-in', () => {
  test('without a session the page asks for the link and shows no form', async () => {
    const page = await open();
    await page.goto(service.origin);
    await page.waitForSelector('#signed-out:not([hidden])');
    assert.match(await page.textContent('#signed-out'), /sign in with the link printed by the server/i);
    assert.equal(await page.locator('#exam').isVisible(), false);
    assert.deepEqual(await axe(page), []);
  });

  test('a wrong token is refused in words', async () => {
    const page = await open();
    await page.goto(`${service.origin}/#signin=not-the-token`);
    await page.waitForSelector('#signed-out:not([hidden])');
    assert.match(await page.textContent('#signed-out'), /sign in with the link printed by the server/i);
    assert.equal(new URL(page.url()).hash, '');
  });

  test('the link signs in, once, and leaves no token in the address', async () => {
    const page = await open();
    await page.goto(service.link);
    await page.waitForSelector('#parts .row');
    assert.equal(new URL(page.url()).hash, '');
    assert.deepEqual(page.log.complaints, []);
    session = await page.context().storageState();
    const [cookie] = session.cookies;
    assert.ok(cookie.httpOnly && cookie.sameSite === 'Strict', 'the session cookie is HttpOnly and SameSite=Strict');

    const second = await open({ storageState: undefined });
    await second.goto(service.link);
    await second.waitForSelector('#signed-out:not([hidden])');
  });
});

describe('the page as delivered', () => {
  test('its security policy holds, nothing leaves the origin, and it is light', async () => {
    const page = await open();
    const response = await page.goto(service.origin);
    await page.waitForSelector('#parts .row');
    const policy = response.headers()['content-security-policy'];
    for (const part of ["default-src 'none'", "script-src 'self'", "style-src 'self'", "img-src 'self' data:", "connect-src 'self'", "form-action 'self'", "base-uri 'none'", "frame-ancestors 'none'"]) assert.ok(policy.includes(part), part);
    await loadDemo(page);
    await assess(page);
    const fetched = page.log.requests.filter((url) => !url.startsWith('data:'));
    assert.deepEqual(fetched.filter((url) => new URL(url).origin !== service.origin), []);
    const ofThePage = fetched.filter((url) => !/demo\.json|assessments/.test(url));
    assert.ok(ofThePage.length <= 10, `${ofThePage.length} requests`);
    assert.deepEqual(page.log.complaints, []);
  });

  test('page, style and scripts weigh under 100 KiB together', async () => {
    let bytes = 0;
    for (const file of await readdir(STATIC)) bytes += (await readFile(path.join(STATIC, file))).length;
    assert.ok(bytes > 10 * 1024 && bytes < 100 * 1024, `${bytes} bytes`);
  });

  test('every check of the vocabulary has exactly one row', async () => {
    const page = await openForm();
    const words = await page.evaluate(async () => (await fetch('/v1/vocabulary')).json());
    const rows = await page.locator('#parts .row').evaluateAll((all) => all.map((row) => row.dataset.pointer));
    assert.equal(new Set(rows).size, rows.length);
    assert.equal(rows.length, words.checks.length);
    assert.equal(await page.locator('#others').count(), 0, 'a section has no place of its own');
  });
});

describe('the form', () => {
  test('nothing is chosen at the start, and the side is asked for', async () => {
    const page = await openForm();
    assert.equal(await page.locator('#exam input[type=radio]:checked').count(), 0);
    assert.equal(await page.textContent('#side-now'), 'Side not chosen');
    await page.click('#assess');
    assert.equal(await page.evaluate(() => document.activeElement.id), 'faults');
    assert.match(await page.textContent('#faults'), /side/i);
    assert.match(await page.textContent('#faults'), /at least one finding/i);
    assert.match(await rowOf(page, '/side').textContent(), /Choose the side/);
    await page.locator('#fault-list a').first().click();
    assert.equal(await focusedRow(page), '/side');
    await page.keyboard.press('l');
    assert.equal(await page.textContent('#side-now'), 'Left arm');
    assert.match(await page.title(), /^Left arm/);
    assert.match(await rowOf(page, '/reflexes/biceps').locator('legend').textContent(), /left/);
  });

  test('digits grade and move on, plus and minus shade, u, Backspace and Delete', async () => {
    const page = await openForm();
    const rows = await page.locator('#muscles .row:not(details .row)').evaluateAll((all) => all.map((row) => row.dataset.pointer));
    const [a, b, c] = rows;
    await focusRow(page, a);
    await page.keyboard.press('4');
    assert.equal(await valueOf(page, a), '4');
    assert.equal(await focusedRow(page), b);
    await page.keyboard.press('-');
    assert.equal(await valueOf(page, a), '4-');
    await page.keyboard.press('+');
    assert.equal(await valueOf(page, a), '4');
    await page.keyboard.press('+');
    assert.equal(await valueOf(page, a), '4+');
    assert.equal(await valueOf(page, b), null, 'shading leaves the row in focus alone');
    await page.keyboard.press('u');
    assert.equal(await valueOf(page, b), 'untestable');
    await page.keyboard.press('-');
    assert.equal(await valueOf(page, b), 'untestable', 'what is not a grade has no shade');
    await page.keyboard.press('3');
    assert.equal(await valueOf(page, c), '3');
    await page.keyboard.press('Backspace');
    assert.equal(await valueOf(page, c), null);
    assert.equal(await focusedRow(page), c, 'taking back returns to the row');
    await page.keyboard.press('Shift+Tab');
    assert.equal(await focusedRow(page), b);
    await page.keyboard.press('Delete');
    assert.equal(await valueOf(page, b), null);
    await page.keyboard.press('Control+5');
    assert.equal(await valueOf(page, b), null, 'keys with Control belong to the browser');
    assert.equal(await valueOf(page, a), '4+');
  });

  test('one Tab stop a row', async () => {
    const page = await openForm();
    const rows = await page.locator('#muscles .row:not(details .row)').evaluateAll((all) => all.map((row) => row.dataset.pointer));
    await focusRow(page, rows[0]);
    await page.keyboard.press('5');
    await page.keyboard.press('Shift+Tab');
    assert.equal(await focusedRow(page), rows[0]);
    await page.keyboard.press('Tab');
    assert.equal(await focusedRow(page), rows[1]);
  });

  test('the pointer can shade and clear too', async () => {
    const page = await openForm();
    const pointer = '/motor/biceps_brachii';
    await pick(page, pointer, '4');
    await rowOf(page, pointer).getByRole('button', { name: /less/ }).click();
    assert.equal(await valueOf(page, pointer), '4-');
    await rowOf(page, pointer).getByRole('button', { name: /clear/ }).click();
    assert.equal(await valueOf(page, pointer), null);
  });

  test('not examined, taken as normal and graded look different', async () => {
    const page = await openForm();
    const row = rowOf(page, '/reflexes/biceps');
    const look = () => row.evaluate((node) => {
      const style = getComputedStyle(node.querySelector('.choice > span'));
      return [node.querySelector('.state').textContent, style.borderTopStyle, style.color].join(' ');
    });
    const blank = await look();
    assert.match(blank, /not examined dashed/);
    await page.check('#rest-reflexes');
    const assumed = await look();
    assert.match(assumed, /rest: normal solid/);
    await pick(page, '/reflexes/biceps', 'absent');
    const given = await look();
    assert.equal(new Set([blank, assumed, given]).size, 3);
    assert.match(await rowOf(page, '/motor/biceps_brachii').textContent(), /not examined/, 'another section is untouched');
  });

  test('the demo record comes out as it went in', async () => {
    const page = await openForm();
    const demo = await demoRecord(page);
    await loadDemo(page);
    assert.match(await page.textContent('#exam .demo-mark'), /invented clinic, invented patient/i);
    const posted = page.waitForRequest((request) => request.url().endsWith('/v1/assessments'));
    await page.click('#assess');
    const request = await posted;
    const record = request.postDataJSON();
    assert.match(request.headers()['idempotency-key'], /^[0-9a-f]{32}$/);
    assert.equal(new Date(record.examined_at).getTime(), new Date(demo.examined_at).getTime());
    record.examined_at = demo.examined_at;
    const grades = (section = {}) => Object.fromEntries(Object.entries(section).map(([id, grade]) => [id, String(grade)]));
    for (const section of ['motor', 'movements']) if (demo[section]) demo[section] = grades(demo[section]);
    assert.deepEqual(record, demo);
  });

  test('a refusal stands beside its field and in a summary that takes the focus', async () => {
    const page = await openForm();
    await loadDemo(page);
    await page.fill('#onset-at', '2029-01-01');
    await page.click('#assess');
    await page.waitForSelector('#faults:not([hidden])');
    assert.equal(await page.evaluate(() => document.activeElement.id), 'faults');
    assert.equal(await page.locator('.field[data-pointer="/onset_at"] .fault').count(), 1);
    assert.equal(await page.getAttribute('#onset-at', 'aria-invalid'), 'true');
    assert.equal(await page.locator('#answer').isVisible(), false);
    await page.locator('#fault-list a').first().click();
    assert.equal(await page.evaluate(() => document.activeElement.id), 'onset-at');
  });

  test('the same record again is sent under the same key, a changed one under another', async () => {
    const page = await openForm();
    await loadDemo(page);
    const keys = [];
    page.on('request', (request) => { if (request.url().endsWith('/v1/assessments')) keys.push(request.headers()['idempotency-key']); });
    await assess(page);
    const first = await page.textContent('.facts');
    await page.click('#assess');
    await page.waitForFunction(() => document.querySelector('#status').textContent === 'The answer is shown');
    assert.equal(await page.textContent('.facts'), first);
    await page.fill('#age-years', '30');
    assert.equal(await page.locator('#answer .stale').isVisible(), true, 'the answer says that it is older than the form');
    await assess(page);
    await page.waitForFunction((old) => document.querySelector('.facts').textContent !== old, first);
    assert.equal(keys.length, 3);
    assert.equal(keys[0], keys[1]);
    assert.notEqual(keys[1], keys[2]);
  });
});

describe('the answer', () => {
  test('shows its sections in order, and takes the focus', async () => {
    const page = await openForm();
    await loadDemo(page);
    await assess(page);
    assert.equal(await page.evaluate(() => document.activeElement.id), 'answer-title');
    const titles = (await page.locator('#answer h3').allTextContents()).filter((title) => !['Urgent', 'Referral'].includes(title));
    assert.deepEqual(titles, ['Found', 'Inferred', 'Suggested', 'Uncertain']);
    assert.match(await page.textContent('#answer'), /invented clinic, invented patient/i);
    assert.match(await page.textContent('#answer-title'), new RegExp((await demoRecord(page)).side));
    for (const part of ['Where the lesion is', 'Roots', 'Level nearest the cord', 'Evidence', 'Functions lost or weak', 'Recovery', 'Examine next', 'Nerve transfers to discuss', 'Late options', 'Donors']) assert.ok((await page.locator('#answer h4').allTextContents()).includes(part), part);
    assert.match(await page.textContent('.hypotheses'), /\d\s%/);
    assert.doesNotMatch(await page.textContent('#answer'), /undefined|NaN|\[object|null/);
  });

  test('what is urgent stands first', async () => {
    const page = await openForm();
    await loadDemo(page);
    await pick(page, '/signs/arm_pulse_absent', 'true');
    await assess(page);
    assert.equal((await page.locator('#answer h3').allTextContents())[0], 'Urgent');
  });

  test('names what cannot be told apart, and the check that helps', async () => {
    const page = await openForm();
    for (const [pointer, value] of [['/side', 'left'], ['/motor/first_dorsal_interosseous', '0'], ['/motor/abductor_digiti_minimi', '0'],
      ['/sensation/nerves/ulnar_digital', 'absent'], ['/sensation/nerves/median_digital', 'normal']]) await pick(page, pointer, value);
    const [reply] = await Promise.all([page.waitForResponse((r) => r.url().endsWith('/v1/assessments')), assess(page)]);
    const { inseparable } = (await reply.json()).localisation;
    assert.ok(inseparable.length > 0, 'several places on the ulnar nerve look alike');
    const shown = await page.locator('#answer .hypotheses > li').filter({ hasText: 'cannot tell it from the first' }).allTextContents();
    assert.equal(shown.length, inseparable.length);
    assert.ok(shown.some((text) => text.includes('most likely to tell them apart')));
  });

  test('shows every plan with its figures, what it costs and what stays open', async () => {
    const page = await openForm();
    await loadDemo(page);
    const [reply] = await Promise.all([page.waitForResponse((r) => r.url().endsWith('/v1/assessments')), assess(page)]);
    const { plans, late_options: late, donors } = (await reply.json()).transfers;
    assert.ok(plans.length > 0 && late.length > 0);
    assert.equal(await page.locator('#answer .plan').count(), plans.length);
    const whole = await page.textContent('#answer .suggested');
    const told = new Set();
    for (const [i, plan] of plans.entries()) {
      const shown = page.locator('#answer .plan').nth(i);
      assert.equal(await shown.locator('> ol > li').count(), plan.steps.length);
      for (const [k, step] of plan.steps.entries()) {
        const text = await shown.locator('> ol > li').nth(k).textContent();
        const key = `${step.transfer} ${step.operation}`;
        if (told.has(key)) assert.match(text, /as step \d of plan \d/);
        else assert.match(text, step.patients ? new RegExp(`${step.patients} published patient`) : /no published series/);
        told.add(key);
      }
      for (const { grades } of plan.donor_cost.filter((c) => c.function !== 'other')) assert.ok((await shown.textContent()).includes(` ${grades.toFixed(1)}`));
      assert.match(await shown.textContent(), /operation reckoned on/);
    }
    assert.match(whole, /named for discussion/i);
    const undecided = donors.filter((donor) => donor.state === 'unknown');
    if (undecided.length) assert.match(whole, new RegExp(`${undecided.length} not known yet`));
  });

  test('says what may come back, where the front should stand and why to decide', async () => {
    const page = await openForm();
    await loadDemo(page);
    const [reply] = await Promise.all([page.waitForResponse((r) => r.url().endsWith('/v1/assessments')), assess(page)]);
    const { recovery } = await reply.json();
    const inferred = await page.textContent('#answer .inferred');
    assert.ok(recovery.muscles.length > 0 && recovery.percussion.length > 0);
    for (const { course, expected_mm: mm } of recovery.percussion) assert.ok(inferred.toLowerCase().includes(`${course} nerve: the front should stand ${mm.map(Math.round).join(' to ')} mm`), course);
    assert.ok((await page.textContent('#answer .decide')).toLowerCase().includes(recovery.decide_because.toLowerCase()));
  });

  test('what if: the plan is asked again, by the form and from a step', async () => {
    const page = await openForm();
    await loadDemo(page);
    const posted = async (act) => {
      const [reply] = await Promise.all([page.waitForResponse((r) => r.url().endsWith('/v1/assessments')), act()]);
      const answer = await reply.json();
      await page.waitForFunction((id) => document.querySelector('.facts')?.textContent.includes(id), answer.id);
      return { record: reply.request().postDataJSON(), answer };
    };
    const first = await posted(() => page.click('#assess'));
    assert.equal(first.record.plan_options, undefined);
    const { donor } = first.answer.transfers.plans[0].steps[0];
    const spends = ({ transfers }, id) => transfers.plans.some((plan) => plan.steps.some((step) => step.donor === id));

    const without = await posted(() => page.locator('#answer .plan').first().locator('[data-leave-out]').first().click());
    assert.deepEqual(without.record.plan_options, { donors_excluded: [donor] });
    assert.ok(!spends(without.answer, donor));
    assert.match(await page.textContent('#answer .asked'), /Left out: /);
    assert.equal(await page.evaluate(() => document.activeElement.id), 'answer-title');

    await page.getByRole('link', { name: 'Ask what if' }).click();
    await page.fill('#surgery-date', '2026-05-04');
    await page.locator('#priority-0').focus();
    await page.keyboard.type('turning the arm out');
    await page.locator('#what-if summary').click();
    await page.selectOption('#use-intercostals', 'donors_fixed');
    await page.selectOption(`#use-${donor}`, '');
    assert.equal(await page.locator('#answer .stale').isVisible(), true);
    const asked = await posted(() => page.getByRole('button', { name: 'Plan again', exact: true }).click());
    assert.deepEqual(asked.record.plan_options, { donors_fixed: ['intercostals'], priorities: ['shoulder_external_rotation'], surgery_date: '2026-05-04' });
    assert.ok(spends(asked.answer, 'intercostals'));
    for (const plan of asked.answer.transfers.plans) assert.equal(plan.operations[0], '2026-05-04');
    const says = await page.textContent('#answer .asked');
    for (const word of ['First: turning the arm outwards', 'To be used: ', 'Surgery on: ']) assert.ok(says.includes(word), word);

    await page.selectOption('#priority-1', 'shoulder_external_rotation');
    await page.fill('#surgery-date', '2026-02-01');
    await page.getByRole('button', { name: 'Plan again', exact: true }).click();
    await page.waitForSelector('#faults:not([hidden])');
    assert.equal(await page.getAttribute('#surgery-date', 'aria-invalid'), 'true');
    assert.match(await page.textContent('fieldset[data-pointer="/plan_options/priorities"] .fault'), /in the list already/);
  });

  test('the whole job by keyboard', async () => {
    const page = await openForm();
    const press = async (...keys) => { for (const key of keys) await page.keyboard.press(key); };
    await press('Tab');
    assert.equal(await page.evaluate(() => document.activeElement.textContent), 'Skip to the muscles');
    for (let i = 0; i < 40 && await focusedRow(page) !== '/side'; i++) await press('Tab');
    await press('r');
    const rows = await page.locator('#muscles .row:not(details .row)').count();
    for (let i = 0; i < 400 && !(await focusedRow(page))?.startsWith('/motor/'); i++) await press('Tab');
    let graded = 0;
    while ((await focusedRow(page))?.startsWith('/motor/')) {
      await press(graded % 3 ? '5' : '3');
      graded += 1;
      assert.ok(graded <= rows, 'the keys leave the section after its last row');
    }
    assert.equal(graded, rows, 'one key press a muscle');
    await press('Control+Enter');
    await page.waitForSelector('#answer:not([hidden]) #answer-title', { timeout: 20000 });
    assert.equal(await page.evaluate(() => document.activeElement.id), 'answer-title');
    assert.deepEqual(page.log.complaints, []);
  });

  test('prints the answer without the form', async () => {
    const page = await openForm();
    await loadDemo(page);
    await assess(page);
    assert.equal(await rowOf(page, '/wasting/supraspinatus').isVisible(), false);
    await page.emulateMedia({ media: 'print' });
    assert.equal(await page.locator('#exam').isVisible(), false);
    assert.equal(await page.locator('#assess').isVisible(), false);
    assert.equal(await page.locator('#side-now').isVisible(), true);
    assert.ok((await page.pdf({ format: 'A4' })).length > 10000);
    assert.equal(await page.locator('details:has([data-pointer="/wasting/supraspinatus"])').getAttribute('open'), '', 'what is recorded in a fold is printed too');
  });
});

describe('for everybody', () => {
  for (const colorScheme of ['light', 'dark']) {
    test(`axe finds nothing at WCAG 2.2 AA, ${colorScheme}`, async () => {
      const page = await openForm({ colorScheme });
      await page.click('#assess');
      await page.waitForSelector('#faults:not([hidden])');
      await page.check('#rest-motor');
      await pick(page, '/reflexes/biceps', 'absent');
      assert.deepEqual(await axe(page), [], 'the form, with faults, with rows given, assumed and blank');
      await loadDemo(page);
      await assess(page);
      for (const fold of await page.locator('#answer details > summary').all()) await fold.click();
      assert.deepEqual(await axe(page, '#answer'), [], 'the answer');
    });
  }

  for (const width of [320, 1024, 1920]) {
    test(`no sideways scrolling at ${width} px, and targets of 24 px`, async () => {
      const page = await openForm({ viewport: { width, height: 900 } });
      for (const fold of await page.locator('#exam details > summary').all()) await fold.click();
      await loadDemo(page);
      assert.equal(await overflow(page), 0, 'form');
      await assess(page);
      for (const fold of await page.locator('#answer details > summary').all()) await fold.click();
      assert.equal(await overflow(page), 0, 'answer');
      const small = await page.evaluate(() => [...document.querySelectorAll('button, input, select, summary')]
        .map((node) => ({ node, box: node.getBoundingClientRect() }))
        .filter(({ box }) => box.width > 0 && (box.width < 24 || box.height < 24)).map(({ node }) => `${node.tagName} ${node.id} ${node.className} in ${node.parentElement.className}`));
      assert.deepEqual(small, []);
    });
  }

  test('a row that takes the focus is never under the bar', async () => {
    const page = await openForm({ viewport: { width: 1024, height: 700 } });
    const rows = await page.locator('#muscles .row:not(details .row)').evaluateAll((all) => all.map((row) => row.dataset.pointer));
    await focusRow(page, rows.at(-1));
    for (let i = rows.length - 1; i > 0; i -= 1) {
      await page.keyboard.press('Shift+Tab');
      const clear = await page.evaluate(() => document.activeElement.getBoundingClientRect().top >= document.querySelector('.bar').getBoundingClientRect().bottom);
      if (await focusedRow(page)) assert.ok(clear, await focusedRow(page));
    }
  });

  test('the choice shows in forced colours', async () => {
    const page = await openForm({ forcedColors: 'active' });
    await pick(page, '/reflexes/biceps', 'absent');
    const [chosen, other] = await rowOf(page, '/reflexes/biceps').locator('.choice > span').evaluateAll((all) =>
      [all.find((span) => span.textContent === 'absent'), all.find((span) => span.textContent !== 'absent')].map((span) => getComputedStyle(span).backgroundColor));
    assert.notEqual(chosen, other);
  });
});

describe('the files', () => {
  test('html-validate finds nothing, in the file or in the page as built', async () => {
    const presets = ['html-validate:recommended', 'html-validate:a11y'];
    const validator = new HtmlValidate({ extends: presets });
    const complaints = (report) => report.results.flatMap((r) => r.messages.map((m) => `${m.line}: ${m.ruleId} ${m.message}`));
    assert.deepEqual(complaints(await validator.validateFile(path.join(STATIC, 'index.html'))), []);
    const page = await openForm();
    await loadDemo(page);
    await assess(page);
    /* How the browser writes the page out is its own affair; check boxes of one list share a name by design. */
    const built = new HtmlValidate({ extends: presets, rules: { 'attribute-boolean-style': 'off', 'attribute-empty-style': 'off', 'doctype-style': 'off',
      'no-trailing-whitespace': 'off', 'form-dup-name': ['error', { shared: ['radio', 'button', 'reset', 'submit', 'checkbox'] }] } });
    assert.deepEqual(complaints(await built.validateString(await page.content())), []);
  });

  test('eslint finds nothing', async () => {
    const eslint = new ESLint({ cwd: ROOT, overrideConfigFile: path.join(ROOT, 'tests/browser/eslint.config.mjs') });
    const results = await eslint.lintFiles(['static/*.js', 'tests/browser/*.mjs']);
    assert.ok(results.length >= 7, `${results.length} files`);
    assert.deepEqual(results.flatMap((r) => r.messages.map((m) => `${path.basename(r.filePath)}:${m.line} ${m.ruleId} ${m.message}`)), []);
  });
});

describe('leaving', () => {
  test('a session that ends in the middle keeps what was entered, and says so', async () => {
    const page = await openForm();
    await loadDemo(page);
    const cookies = await page.context().cookies();
    await page.context().clearCookies();
    await page.click('#assess');
    await page.waitForSelector('#signed-out:not([hidden])');
    assert.equal(await page.locator('#exam').isVisible(), false);
    await page.context().addCookies(cookies);
    await page.click('#try-again');
    await page.waitForSelector('#exam');
    assert.equal(await page.inputValue('#subject'), (await demoRecord(page)).subject);
    await assess(page);
  });

  test('signing out empties the page and ends the session', async () => {
    const page = await openForm();
    await loadDemo(page);
    await page.click('#sign-out');
    await page.waitForSelector('#signed-out:not([hidden])');
    assert.equal(await page.locator('#parts .row').count(), 0);
    assert.equal(await page.inputValue('#subject'), '');
    await page.reload();
    await page.waitForSelector('#signed-out:not([hidden])');
    assert.equal(await page.locator('#exam').isVisible(), false);
  });
});
