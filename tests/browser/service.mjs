/* Starts the real service and a browser for the tests, on a free port with a data directory of its own. */

import { spawn } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

export const ROOT = fileURLToPath(new URL('../../', import.meta.url));
export const ROOTWARD = process.env.ROOTWARD ?? path.join(ROOT, 'build/rootward');

const START_MS = 15000;

/* Resolves with the first match of a pattern in what the process prints on the stream. */
function firstMatch(child, stream, pattern) {
  return new Promise((resolve, reject) => {
    let text = '';
    const late = setTimeout(() => reject(new Error(`the service did not print ${pattern}: ${text}`)), START_MS);
    child.once('error', reject);
    child.once('exit', (code) => reject(new Error(`the service stopped with ${code}: ${text}`)));
    stream.on('data', (chunk) => {
      text += chunk;
      const found = pattern.exec(text);
      if (found) { clearTimeout(late); resolve(found[1]); }
    });
  });
}

export async function startService() {
  const data = await mkdtemp(path.join(tmpdir(), 'rootward-page-'));
  const child = spawn(ROOTWARD, ['serve', '--data', data, '--listen', '127.0.0.1:0', '--static', path.join(ROOT, 'static'), '--signin'], { cwd: ROOT });
  const [origin, link] = await Promise.all([
    firstMatch(child, child.stderr, /listening on (http:\/\/127\.0\.0\.1:\d+)/),
    firstMatch(child, child.stdout, /(http:\/\/\S+#signin=\S+)/),
  ]);
  async function stop() {
    const gone = new Promise((resolve) => { child.once('exit', resolve); });
    child.kill('SIGTERM');
    await gone;
    await rm(data, { recursive: true, force: true });
  }
  return { origin, link, stop };
}

export const startBrowser = () => chromium.launch({
  executablePath: process.env.CHROME ?? '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
    '--disable-component-update', '--disable-sync'],
});
