/* Behaviour of one row (a fieldset with radios): choosing, shading, clearing, by key or by pointer.
 * The radios are the state; nothing else remembers a finding. */

const MINUS = '\u2212';
const shown = (value) => value.replace('-', MINUS);

const shadesOf = (radio) => (radio.dataset.shades ?? '').split(' ');
const radios = (row) => [...row.querySelectorAll('input[type=radio]')];
export const chosen = (row) => row.querySelector('input[type=radio]:checked');
export const nameOf = (row) => row.querySelector('legend .name').textContent;
export const wordOf = (radio) => radio.nextElementSibling.textContent;

/* A shaded grade is the plain grade's radio with another value: "4" becomes "4-" or "4+". */
function setValue(radio, value) {
  radio.value = value;
  if (radio.dataset.base) radio.nextElementSibling.textContent = shown(value);
}

/* Chooses a value of the row. False when the row has no such value. */
export function choose(row, value) {
  const radio = radios(row).find((r) => (r.dataset.base ?? r.value) === value || shadesOf(r).includes(value));
  if (!radio) return false;
  radio.checked = true;
  setValue(radio, value);
  settle(row);
  return true;
}

export function clear(row) {
  for (const radio of radios(row)) radio.checked = false;
  settle(row);
}

/* Shades the given grade one step; the opposite sign takes a shade away. */
function shade(row, sign) {
  const radio = chosen(row);
  if (!radio?.dataset.base) return false;
  const { base } = radio.dataset;
  const value = radio.value === base || radio.value.endsWith(sign) ? base + sign : base;
  if (value !== base && !shadesOf(radio).includes(value)) return false;
  setValue(radio, value);
  settle(row);
  return true;
}

/* Brings what the row shows in line with its radios. */
export function settle(row) {
  const now = chosen(row);
  for (const radio of radios(row)) if (radio !== now && radio.dataset.base) setValue(radio, radio.dataset.base);
  row.classList.toggle('given', Boolean(now));
  const state = row.querySelector('.state');
  const assumed = !now && row.classList.contains('assumed');
  if (state) state.textContent = now ? '' : assumed ? 'rest: normal' : row.dataset.required === undefined ? 'not examined' : 'not chosen';
  for (const button of row.querySelectorAll('button')) {
    button.hidden = !now || (Boolean(button.dataset.sign) && !now.dataset.base);
  }
}

const visible = (row) => !row.closest('details:not([open])');
export const focusRow = (row) => (chosen(row) ?? radios(row)[0]).focus();

/* Wires keys and pointer once for the whole form. `changed(row, radio)` hears of every change. */
export function wireRows(form, changed) {
  let last = null; /* the row just graded, while the focus is where grading put it */

  const mark = (row) => {
    last?.classList.remove('just-given');
    last = row;
    last?.classList.add('just-given');
  };
  const report = (row) => changed(row, chosen(row));

  function moveOn(row) {
    const rows = [...form.querySelectorAll('.row')];
    const next = rows.slice(rows.indexOf(row) + 1).find(visible);
    if (next) focusRow(next);
  }

  function pick(row, radio) {
    choose(row, radio.dataset.base ?? radio.value);
    moveOn(row);
    mark(row);
    report(row);
  }

  function takeBack(row) {
    const target = last ?? row;
    mark(null);
    clear(target);
    if (target !== row) focusRow(target);
    report(target);
  }

  const sign = { '+': '+', '=': '+', '-': '-', [MINUS]: '-' };

  form.addEventListener('keydown', (event) => {
    if (event.key === 'Enter' && (event.ctrlKey || event.metaKey)) {
      event.preventDefault();
      form.requestSubmit();
      return;
    }
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.type !== 'radio') return;
    const row = event.target.closest('.row');
    const radio = radios(row).find((r) => r.dataset.key === event.key.toLowerCase());
    if (radio) pick(row, radio);
    else if (sign[event.key]) { if (shade(last ?? row, sign[event.key])) report(last ?? row); }
    else if (event.key === 'Backspace') takeBack(row);
    else if (event.key === 'Delete') { clear(row); report(row); }
    else if (event.key === 'Enter') { moveOn(row); mark(null); }
    else {
      if (event.key !== 'Shift') mark(null);
      return;
    }
    event.preventDefault();
  });

  form.addEventListener('pointerdown', () => mark(null));

  form.addEventListener('change', (event) => {
    const row = event.target.closest('.row');
    if (!row || event.target.type !== 'radio') return;
    settle(row);
    report(row);
  });

  form.addEventListener('click', (event) => {
    const button = event.target.closest('.row button');
    if (!button) return;
    const row = button.closest('.row');
    if (button.dataset.sign) shade(row, button.dataset.sign);
    else clear(row);
    focusRow(row);
    report(row);
  });
}
