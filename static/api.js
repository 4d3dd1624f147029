/* What the service says: requests to it, and names looked up in its vocabulary. */

const TIMEOUT_MS = 30000;

/* A refusal by the service (RFC 9457), or no answer at all (status 0). */
export class Problem extends Error {
  constructor({ title, status, detail, errors }) {
    super(title ?? 'The service refused this');
    this.status = status ?? 0;
    this.detail = detail ?? '';
    this.errors = errors ?? [];
  }
}

async function call(path, { method = 'GET', text, headers = {} } = {}) {
  let response, body;
  try {
    response = await fetch(path, {
      method,
      body: text,
      headers: text === undefined ? headers : { 'Content-Type': 'application/json', ...headers },
      credentials: 'same-origin',
      redirect: 'error',
      signal: AbortSignal.timeout(TIMEOUT_MS),
    });
    body = await response.text();
  } catch {
    throw new Problem({ title: 'No answer from the service', status: 0 });
  }
  const parsed = parse(body);
  if (!response.ok) throw new Problem({ ...parsed, status: response.status });
  return parsed;
}

function parse(body) {
  try {
    return JSON.parse(body) ?? {};
  } catch {
    return {};
  }
}

export const signIn = (token) => call('/signin', { method: 'POST', text: JSON.stringify({ token }) });
export const signOut = () => call('/signout', { method: 'POST' });
export const vocabulary = () => call('/v1/vocabulary');
export const demo = () => call('/demo.json');

/* One key for one body: pressing again after a lost answer cannot make a second record.
 * crypto.randomUUID is missing on plain http, getRandomValues is not. */
let sent = { text: null, key: null };
export function assess(record) {
  const text = JSON.stringify(record);
  if (text !== sent.text) {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    sent = { text, key: Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('') };
  }
  return call('/v1/assessments', { method: 'POST', text, headers: { 'Idempotency-Key': sent.key } });
}
export const forgetSent = () => { sent = { text: null, key: null }; };

const spaced = (id) => String(id).replaceAll('_', ' ');
export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
const uncapital = (text) => (/^.[A-Z]/.test(text) ? text : text.charAt(0).toLowerCase() + text.slice(1));

/* Sections whose items are named without saying the section. */
const PLAIN = new Set(['motor', 'movements', 'signs', 'reflexes', 'sensation/roots', 'sensation/nerves', 'percussion']);

/* Names for ids. What the vocabulary does not know is shown as its id, spaced out. */
export class Names {
  constructor(words) {
    const index = (list) => new Map((list ?? []).map((item) => [item.id, item.label]));
    const within = (...sections) => index(words.checks.filter((check) => sections.includes(check.section)));
    this.sections = index(words.sections);
    this.donors = index(words.donors);
    this.sites = index(words.sites);
    this.functions = index(words.functions);
    this.transfers = index(words.transfers);
    this.mechanisms = index(words.mechanisms);
    this.muscles = within('motor');
    this.areas = within('sensation/roots', 'sensation/nerves');
    const place = new Map(words.sections.map(({ id }, i) => [id, i]));
    const inOrder = [...words.checks].sort((a, b) => place.get(a.section) - place.get(b.section) || a.order - b.order);
    this.checks = new Map(inOrder.map((check) => [check.pointer, check]));
  }
  donor(id) { return this.donors.get(id) ?? spaced(id); }
  site(id) { return this.sites.get(id) ?? spaced(id); }
  muscle(id) { return this.muscles.get(id) ?? spaced(id); }
  area(id) { return this.areas.get(id) ?? spaced(id); }
  work(id) { return this.functions.get(id) ?? spaced(id); }
  mechanism(id) { return this.mechanisms.get(id) ?? spaced(id); }
  transfer(id) { return this.transfers.get(id) ?? spaced(id); }

  /* What a row is called; a section of one item without an id lends its own name. */
  check({ id, label, section }) { return id ? label : uncapital(this.sections.get(section) ?? label); }

  /* "/motor/rhomboids" or "motor.rhomboids" in words; an investigation is named with its section. */
  finding(pointer) {
    const path = pointer.startsWith('/') ? pointer : `/${pointer.replaceAll('.', '/')}`;
    const check = this.checks.get(path);
    if (!check) return spaced(path.slice(1).replaceAll('/', ', '));
    const section = this.sections.get(check.section) ?? spaced(check.section);
    return PLAIN.has(check.section) || !check.id ? this.check(check) : `${check.label} (${uncapital(section)})`;
  }
}
