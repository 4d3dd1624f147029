/* One line a test, the reason of each failure, and a closing line "N passed, N failed". */

const indent = (text, depth) => text.split('\n').map((line) => '  '.repeat(depth) + line).join('\n');

export default async function* report(events) {
  let passed = 0, failed = 0;
  for await (const { type, data } of events) {
    if (type !== 'test:pass' && type !== 'test:fail') continue;
    const suite = data.details?.type === 'suite';
    const word = type === 'test:pass' ? 'ok  ' : 'FAIL';
    yield `${indent(`${word} ${data.name}`, data.nesting)} (${Math.round(data.details.duration_ms)} ms)\n`;
    if (suite) continue;
    if (type === 'test:pass') passed += 1;
    else {
      failed += 1;
      yield `${indent(data.details.error?.cause?.stack ?? String(data.details.error), data.nesting + 2)}\n`;
    }
  }
  yield `${passed} passed, ${failed} failed\n`;
}
