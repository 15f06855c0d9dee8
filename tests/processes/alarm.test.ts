// The alarm: a command and a webhook, whatever becomes of them, and a run that does not notice. Receivers are servers on
// loopback; commands run in the system's own shell.
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import http from 'node:http';
import net, { type AddressInfo } from 'node:net';
import os from 'node:os';
import path from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { build } from 'vite';
import { afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { alarmSchema } from '../../shared/alarm.js';
import { Alarm, type AlarmOptions, type AlarmTiming } from '../../src/station/alarm.js';
import type { Halt } from '../../src/station/alarm-notice.js';
import { isAlive } from '../built.js';
import { PACED, pace } from '../pace.js';

/** As the real ones, a hundredth of the pauses; tries and ends have room on a busy machine. */
const QUICK: Partial<AlarmTiming> = { pauses: [50, 150, 350, 650], tryWithin: 5000, close: 20_000 };

const HALT: Halt = {
  run: '5b0d7c1e',
  state: 'halted',
  error: 'body-lost',
  sentence: 'Failed after 4 of 9 frames. The camera no longer answers.',
  folder: '/home/somebody/sets/set-20261125-164210',
  verified: 4,
  frames: 9,
};

let folder = '';
const lines: string[] = [];
const toEnd: (() => unknown)[] = [];

beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  lines.length = 0;
});
afterEach(async () => {
  for (const end of toEnd.splice(0).reverse()) await end();
  await rm(folder, { recursive: true, force: true });
});

function alarm(options: Omit<AlarmOptions, 'log'>): Alarm {
  const made = new Alarm({
    log: (level, line) => lines.push(`${level} ${line}`),
    ...options,
    timing: { ...QUICK, ...options.timing },
  });
  toEnd.push(() => made.close());
  return made;
}

/** @returns milliseconds that raising took */
function raised(one: Alarm, halt: Halt = HALT): number {
  const before = performance.now();
  one.raise(halt);
  return performance.now() - before;
}

/** Waits for a line of the log that says so. */
async function logged(text: RegExp, within = 20_000): Promise<string> {
  for (const until = performance.now() + within; performance.now() < until; ) {
    const found = lines.find((line) => text.test(line));
    if (found !== undefined) return found;
    await pause(10);
  }
  throw new Error(`It never said ${text}: ${lines.join('\n')}`);
}

interface Receiver {
  readonly address: string;
  readonly host: string;
  readonly got: {
    method: string;
    url: string;
    headers: http.IncomingHttpHeaders;
    body: string;
    at: number;
  }[];
}

/** @param answers what it does, try by try; the last one from then on */
async function receiver(...answers: ((response: http.ServerResponse) => void)[]): Promise<Receiver> {
  const got: Receiver['got'] = [];
  const server = http.createServer((request, response) => {
    const at = performance.now();
    let body = '';
    request.setEncoding('utf8').on('data', (part: string) => {
      body += part;
    });
    request.on('end', () => {
      const { method = '', url = '', headers } = request;
      got.push({ method, url, headers, body, at });
      answers[Math.min(got.length, answers.length) - 1]?.(response);
    });
  });
  server.listen(0, '127.0.0.1');
  await once(server, 'listening');
  toEnd.push(() => {
    server.closeAllConnections();
    server.close();
  });
  const host = `127.0.0.1:${(server.address() as AddressInfo).port}`;
  return { address: `http://${host}/tell/secret-word?key=other-secret`, host, got };
}

const answer =
  (status: number, headers: http.OutgoingHttpHeaders = {}) =>
  (response: http.ServerResponse) =>
    response.writeHead(status, headers).end();
const hang = () => undefined;

/** A port that refuses: it was free a moment ago. */
async function deadPort(): Promise<number> {
  const server = net.createServer().listen(0, '127.0.0.1');
  await once(server, 'listening');
  const { port } = server.address() as AddressInfo;
  server.close();
  return port;
}

describe('a webhook', () => {
  it('gets one JSON object, and nothing of where the set lies', async () => {
    const { address, host, got } = await receiver(answer(204));
    const sentence = `Nothing can be stored in ${HALT.folder}: ${os.homedir()}/x and /home/somebody/sets are full.`;
    const one = alarm({ webhook: address });
    raised(one, { ...HALT, error: 'storing-failed', sentence });
    await one.close();
    expect(lines).toEqual([`info The webhook at ${host} was told.`]);
    expect(got).toHaveLength(1);
    const [{ method, url, headers, body } = { method: '', url: '', headers: {}, body: '' }] = got;
    expect([method, url, headers['content-type']]).toEqual([
      'POST',
      '/tell/secret-word?key=other-secret',
      'application/json',
    ]);
    const notice = alarmSchema.parse(JSON.parse(body));
    expect(notice).toEqual({
      version: 1,
      id: notice.id,
      at: notice.at,
      run: HALT.run,
      state: 'halted',
      error: 'storing-failed',
      sentence: 'Nothing can be stored in set-20261125-164210: ~/x and sets are full.',
      page: 'hardware-notes/when-it-stops.md#nothing-can-be-stored',
      verified: 4,
      frames: 9,
      folder: 'set-20261125-164210',
    });
    expect(Math.abs(Date.now() - Date.parse(notice.at))).toBeLessThan(20_000);
  });

  it('a clean stop has no error, no page, and maybe no folder', async () => {
    const { address, got } = await receiver(answer(200));
    const one = alarm({ webhook: address });
    raised(one, { ...HALT, state: 'stopped', error: null, folder: null });
    await one.close();
    expect(JSON.parse(got[0]?.body ?? '')).toMatchObject({
      state: 'stopped',
      error: null,
      page: null,
      folder: null,
    });
  });

  it('that fails at first is told again, after a pause, under the same id', async () => {
    const { address, host, got } = await receiver(answer(500), answer(429), answer(200));
    const one = alarm({ webhook: address, random: () => 0.5 });
    raised(one);
    await logged(/was told/);
    expect(lines).toEqual([
      `info The webhook at ${host} was not told yet: it answered 500. Evenrung tries again.`,
      `info The webhook at ${host} was not told yet: it answered 429. Evenrung tries again.`,
      `info The webhook at ${host} was told.`,
    ]);
    const [first, second, third] = got;
    // A timer may be a millisecond early.
    expect((second?.at ?? 0) - (first?.at ?? 0)).toBeGreaterThan(48);
    expect((third?.at ?? 0) - (second?.at ?? 0)).toBeGreaterThan(148);
    expect(second?.body).toBe(first?.body);
  });

  it('the pauses are spread by a fifth either way', PACED, async () => {
    const gaps = async (random: number) => {
      const { address, got } = await receiver(answer(503), answer(200));
      const one = alarm({ webhook: address, random: () => random, timing: { pauses: [500] } });
      raised(one);
      for (let tries = 0; got.length < 2 && tries < 500; tries += 1) await pause(10);
      return (got[1]?.at ?? 0) - (got[0]?.at ?? 0);
    };
    const [short, long] = [await gaps(0), await gaps(1)];
    expect(short).toBeGreaterThan(398);
    expect(long).toBeGreaterThan(598);
    pace('a pause of 500 ms, a fifth shorter', short, 'ms', 500);
  });

  it('that refuses for good is left alone after five tries', async () => {
    const port = await deadPort();
    const one = alarm({ webhook: `http://127.0.0.1:${port}/` });
    raised(one);
    expect(await logged(/^warn/)).toBe(
      `warn The webhook at 127.0.0.1:${port} was not told in 5 tries: nothing listens there.`,
    );
    expect(lines).toHaveLength(5);
  });

  it('that says no is not asked again', async () => {
    const { address, got, host } = await receiver(answer(403));
    raised(alarm({ webhook: address }));
    expect(await logged(/^warn/)).toBe(`warn The webhook at ${host} was not told: it answered 403.`);
    await pause(200);
    expect(got).toHaveLength(1);
  });

  it('that never answers is given up, try by try', async () => {
    const { address, got, host } = await receiver(hang);
    raised(alarm({ webhook: address, timing: { tryWithin: 300, pauses: [20, 20] } }));
    expect(await logged(/^warn/)).toBe(
      `warn The webhook at ${host} was not told in 3 tries: no answer within 0.3 s.`,
    );
    expect(got).toHaveLength(3);
  });

  it('that answers a byte at a time is given up as well', async () => {
    const server = net.createServer((socket) => {
      socket.on('error', () => undefined);
      const drip = setInterval(() => socket.write('H'), 50);
      socket.on('close', () => clearInterval(drip));
      socket.write('HTTP/1.1 200 OK\r\nX-Long: ');
    });
    server.listen(0, '127.0.0.1');
    await once(server, 'listening');
    toEnd.push(() => server.close());
    const { port } = server.address() as AddressInfo;
    raised(alarm({ webhook: `http://127.0.0.1:${port}`, timing: { tryWithin: 300, pauses: [] } }));
    expect(await logged(/^warn/)).toContain('was not told: no answer within 0.3 s.');
  });

  it.each([301, 302, 303, 307, 308])('no redirect is followed (%d)', async (status) => {
    const other = await receiver(answer(200));
    const { address, got, host } = await receiver(answer(status, { location: other.address }));
    raised(alarm({ webhook: address }));
    expect(await logged(/^warn/)).toBe(
      `warn The webhook at ${host} was not told: it answered ${status} and leads to http://${other.host}, where nothing is sent: give that address itself.`,
    );
    await pause(100);
    expect([got.length, other.got.length]).toEqual([1, 0]);
  });

  it('a redirect that leads nowhere is one too', async () => {
    const { address } = await receiver(answer(302, { location: 'http://[' }));
    raised(alarm({ webhook: address }));
    expect(await logged(/^warn/)).toContain('leads to elsewhere');
  });

  it('of a huge answer only the head is read', async () => {
    let written = 0;
    let isClosed = () => {};
    const closed = new Promise<void>((resolve) => {
      isClosed = resolve;
    });
    const { address } = await receiver((response) => {
      response.writeHead(200);
      response.on('error', () => undefined);
      response.on('close', () => isClosed());
      const block = Buffer.alloc(1 << 16, 32);
      const more = () => {
        while (!response.destroyed && written < 1 << 30) {
          written += block.length;
          if (!response.write(block)) {
            response.once('drain', more);
            return;
          }
        }
      };
      more();
    });
    const one = alarm({ webhook: address });
    raised(one);
    await one.close();
    expect(lines).toEqual([expect.stringMatching(/was told/)]);
    await closed;
    // What the two sockets hold between them.
    expect(written).toBeLessThan(32 << 20);
  });

  it('is found by its name', async () => {
    const { address, got } = await receiver(answer(200));
    const one = alarm({ webhook: address.replace('127.0.0.1', 'localhost') });
    raised(one);
    await one.close();
    expect(lines).toEqual([expect.stringMatching(/^info The webhook at localhost:\d+ was told\.$/)]);
    expect(got).toHaveLength(1);
  });

  it('with a name that nobody has: said so', async () => {
    // RFC 2606: never a name.
    raised(alarm({ webhook: 'http://nobody.invalid/secret', timing: { tryWithin: 20_000, pauses: [] } }));
    expect(await logged(/^warn/)).toMatch(
      /^warn The webhook at nobody\.invalid was not told: its name (?:is not known|cannot be looked up), or there is no network\.$/,
    );
  });

  it('its address is never in the log', async () => {
    const { address } = await receiver(answer(500));
    raised(alarm({ webhook: address.replace('//', '//somebody:password@') }));
    await logged(/^warn/);
    expect(lines.join('\n')).not.toMatch(/secret|password|somebody/);
  });
});

/** Where a command of a test writes. */
const at = (name: string) => path.join(folder, name);
const read = (name: string) => readFile(at(name), 'utf8');

async function pidIn(name: string): Promise<number> {
  for (let tries = 0; tries < 500; tries += 1) {
    const pid = Number(await read(name).catch(() => ''));
    if (pid > 0) return pid;
    await pause(10);
  }
  throw new Error(`${name} was never written.`);
}

async function gone(pid: number): Promise<boolean> {
  for (let tries = 0; tries < 250; tries += 1) {
    if (!isAlive(pid)) return true;
    await pause(20);
  }
  return false;
}

describe('a command', () => {
  it('finds in its environment what happened', async () => {
    const NAMES = ['SENTENCE', 'RUN', 'STATE', 'FOLDER', 'ERROR'].map((name) => `EVENRUNG_${name}`);
    const one = alarm({ command: `printf '%s|' "$${NAMES.join('" "$')}" > '${at('got')}'` });
    raised(one);
    await one.close();
    expect(await read('got')).toBe(
      `${HALT.sentence}|${HALT.run}|halted|/home/somebody/sets/set-20261125-164210|body-lost|`,
    );
    expect(lines).toEqual(["info The alarm's command has ended, exit code 0."]);
  });

  it('what there is not is empty, whatever the environment had', async () => {
    process.env.EVENRUNG_ERROR = 'from before';
    toEnd.push(() => delete process.env.EVENRUNG_ERROR);
    const one = alarm({ command: `printf '%s|' "$EVENRUNG_FOLDER" "$EVENRUNG_ERROR" > '${at('got')}'` });
    raised(one, { ...HALT, error: null, folder: null });
    await one.close();
    expect(await read('got')).toBe('||');
  });

  it.each([
    ['quotes', `'; touch FILE; '`],
    ['double quotes', `"; touch FILE; "`],
    ['substitution', '$(touch FILE) `touch FILE` $IFS'],
    ['new lines', 'one\ntouch FILE\n'],
    ['separators', '; touch FILE & touch FILE | touch FILE && touch FILE #'],
    ['an option', '-rf --help'],
    ['backslashes and percent signs', '\\"; touch FILE \\ %s %n %PATH%'],
  ])('%s in a sentence run nothing', async (_name, text) => {
    const sentence = text.replaceAll('FILE', at('ran'));
    const one = alarm({ command: `printf '%s' "$EVENRUNG_SENTENCE" > '${at('got')}'` });
    raised(one, { ...HALT, sentence, folder: sentence, run: sentence });
    await one.close();
    expect(await read('got')).toBe(sentence);
    await expect(read('ran')).rejects.toThrow('ENOENT');
  });

  it('a sentence that no environment could hold is made to fit', async () => {
    const one = alarm({ command: `printf '%s' "$EVENRUNG_SENTENCE" > '${at('got')}'` });
    raised(one, { ...HALT, sentence: `a\0b${'\u{1f4f7}'.repeat(100_000)}` });
    await one.close();
    const got = await read('got');
    expect(got.startsWith('ab\u{1f4f7}')).toBe(true);
    expect(got.length).toBeLessThanOrEqual(4000);
  });

  it('what it prints goes into the log, cut and without signs that move a terminal', async () => {
    const one = alarm({
      // One pipe, so that the lines come in one order.
      command: `exec 2>&1; echo out; echo; printf '\\033[2Jerr\\007\\n'; yes | head -c 10000000; exit 3`,
    });
    raised(one);
    await one.close();
    expect(lines).toContain("info The alarm's command says: out");
    expect(lines).toContain("info The alarm's command says: [2Jerr");
    expect(lines.at(-2)).toBe("info The alarm's command says: (and more)");
    expect(lines.at(-1)).toBe("warn The alarm's command failed: exit code 3.");
    expect(lines.join('').length).toBeLessThan(100_000);
  });

  it('that is not found: said so', async () => {
    const one = alarm({ command: 'evenrung-has-no-such-command --loud' });
    raised(one);
    await one.close();
    expect(lines).toEqual([
      expect.stringMatching(/^info The alarm's command says: .*evenrung-has-no-such-command.*not found/),
      "warn The alarm's command was not found, or found nothing to run: exit code 127.",
    ]);
  });

  it('that was ended by a signal: said so', async () => {
    const one = alarm({ command: 'kill -TERM $$' });
    raised(one);
    await one.close();
    expect(lines).toEqual(["warn The alarm's command was ended by SIGTERM."]);
  });

  it('that hangs is ended with all that it started', async () => {
    const one = alarm({
      command: `trap '' TERM INT HUP; sleep 60 & echo $! > '${at('inner')}'; echo $$ > '${at('outer')}'; wait; sleep 60`,
      timing: { command: 1000 },
    });
    raised(one);
    const pids = [await pidIn('outer'), await pidIn('inner')];
    expect(pids.map(isAlive)).toEqual([true, true]);
    expect(await logged(/^warn/)).toBe("warn The alarm's command was ended after 1 s.");
    for (const pid of pids) expect(await gone(pid)).toBe(true);
  });

  it('that leaves something behind is as long under way as that holds its output', async () => {
    const one = alarm({
      command: `sleep 60 & echo $! > '${at('inner')}'`,
      timing: { command: 1000 },
    });
    raised(one);
    const pid = await pidIn('inner');
    await logged(/was ended after 1 s/);
    expect(await gone(pid)).toBe(true);
  });

  it('that has left its group cannot hold anything up', PACED, async () => {
    const one = alarm({
      command: `setsid sh -c 'echo $$ > "${at('inner')}"; exec sleep 60'`,
      timing: { command: 1000 },
    });
    raised(one);
    const pid = await pidIn('inner');
    toEnd.push(() => process.kill(pid, 'SIGKILL'));
    await logged(/was ended after 1 s/);
    const before = performance.now();
    await one.close();
    const took = performance.now() - before;
    // It sleeps for a minute.
    expect(took).toBeLessThan(30_000);
    pace('an alarm closes whose command has left', took, 'ms', 1000);
  });
});

describe('whoever raises it', () => {
  it('goes on at once, whatever becomes of the alarm', PACED, async () => {
    const { address } = await receiver(hang);
    const one = alarm({ command: 'sleep 60', webhook: address, timing: { close: 100 } });
    let turns = 0;
    const ticking = setInterval(() => {
      turns += 1;
    }, 10);
    toEnd.push(() => clearInterval(ticking));
    const took = Array.from({ length: 10 }, () => raised(one));
    pace('an alarm is raised', Math.max(...took), 'ms', 50);
    await pause(1000);
    // The run has its turns meanwhile.
    expect(turns).toBeGreaterThan(0);
    pace('turns of the run come every', 1000 / turns, 'ms', 50);
    expect(lines).toEqual([]);
  });

  it('is not thrown at: not by words that make no notice, nor by a log that fails', async () => {
    const one = new Alarm({
      command: 'exit 1',
      webhook: 'http://127.0.0.1:1/',
      log: () => {
        throw new Error('The log is full.');
      },
      timing: { ...QUICK, close: 500 },
    });
    one.raise({ ...HALT, verified: Number.NaN });
    one.raise(HALT);
    await one.close();
  });

  it('with nothing to do it does nothing', async () => {
    const one = alarm({});
    raised(one);
    await one.close();
    expect(lines).toEqual([]);
  });
});

describe('close', () => {
  it('waits for what is nearly done', async () => {
    const { address } = await receiver((response) => void setTimeout(() => answer(200)(response), 300));
    const one = alarm({ command: 'sleep 0.3', webhook: address });
    raised(one);
    await one.close();
    expect(lines.toSorted()).toEqual([
      "info The alarm's command has ended, exit code 0.",
      expect.stringMatching(/^info .* was told\.$/),
    ]);
  });

  it('does not wait for a pause to pass: the next try is made at once', async () => {
    const { address } = await receiver(answer(500), answer(500), answer(200));
    const one = alarm({ webhook: address, timing: { pauses: [60_000, 60_000], pauseAtEnd: 100 } });
    raised(one);
    await logged(/500/);
    const before = performance.now();
    await one.close();
    // The pause is a minute.
    expect(performance.now() - before).toBeLessThan(30_000);
    expect(lines.at(-1)).toMatch(/was told\.$/);
  });

  it('drops what takes longer, and says so', PACED, async () => {
    const { address, host } = await receiver(hang);
    const one = alarm({
      command: `echo $$ > '${at('pid')}'; sleep 60`,
      webhook: address,
      timing: { close: 500 },
    });
    raised(one);
    const pid = await pidIn('pid');
    const before = performance.now();
    await Promise.all([one.close(), one.close()]);
    const took = performance.now() - before;
    expect(took).toBeGreaterThan(490);
    // It sleeps for a minute.
    expect(took).toBeLessThan(30_000);
    pace('an alarm closes after half a second', took, 'ms', 3000);
    expect(lines.toSorted()).toEqual([
      "warn The alarm's command was ended after 0.5 s, since Evenrung ends.",
      `warn The webhook at ${host} was not told: Evenrung ends.`,
    ]);
    expect(await gone(pid)).toBe(true);
  });

  it('nothing is raised after it', async () => {
    const { address, got } = await receiver(answer(200));
    const one = alarm({ command: `touch '${at('ran')}'`, webhook: address });
    await one.close();
    raised(one);
    await pause(200);
    expect(got).toEqual([]);
    await expect(read('ran')).rejects.toThrow('ENOENT');
  });
});

describe('a program that ends', () => {
  let bundle = '';
  beforeAll(async () => {
    bundle = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
    await build({
      configFile: false,
      logLevel: 'silent',
      ssr: { noExternal: true },
      build: {
        ssr: fileURLToPath(new URL('../../src/station/alarm.ts', import.meta.url)),
        outDir: bundle,
        emptyOutDir: false,
        rolldownOptions: { output: { entryFileNames: 'alarm.mjs' } },
      },
    });
    return () => rm(bundle, { recursive: true, force: true });
  });

  /** A program of its own that raises an alarm. @returns its exit code and how long it took */
  async function program(options: Omit<AlarmOptions, 'log'>, then: string) {
    const file = at('program.mjs');
    await writeFile(
      file,
      `import { Alarm } from '${bundle}/alarm.mjs';
const alarm = new Alarm({ ...${JSON.stringify(options)}, log: (level, line) => console.log(line) });
alarm.raise(${JSON.stringify(HALT)});
${then}`,
    );
    const before = performance.now();
    const child = spawn(process.execPath, [file], { stdio: ['ignore', 'pipe', 'inherit'] });
    toEnd.push(() => child.kill('SIGKILL'));
    let said = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      said += text;
    });
    const [code] = await once(child, 'close');
    return { code, said, took: performance.now() - before };
  }

  it('with the usual times it is held up for 5 s and no longer', PACED, async () => {
    const { address, host } = await receiver(hang);
    const { code, said, took } = await program(
      { command: `echo $$ > '${at('pid')}'; sleep 60`, webhook: address },
      'await alarm.close();\nconsole.log("closed");',
    );
    expect(code).toBe(0);
    expect(said.trim().split('\n').toSorted()).toEqual([
      "The alarm's command was ended after 5 s, since Evenrung ends.",
      `The webhook at ${host} was not told: Evenrung ends.`,
      'closed',
    ]);
    expect(took).toBeGreaterThan(5000);
    expect(took).toBeLessThan(30_000);
    pace('a program is held up by an alarm', took, 'ms', 8000);
    expect(await gone(await pidIn('pid'))).toBe(true);
  });

  it('without close it is not held up at all', PACED, async () => {
    const { address } = await receiver(hang);
    const { code, took } = await program(
      { command: `echo $$ > '${at('pid')}'; sleep 60`, webhook: address },
      'setTimeout(() => {}, 500);',
    );
    // Nobody is left to end it.
    toEnd.push(async () => process.kill(-(await pidIn('pid')), 'SIGKILL'));
    expect(code).toBe(0);
    expect(took).toBeLessThan(30_000);
    pace('a program ends without close', took, 'ms', 4000);
  });
});

describe('what cannot be used', () => {
  const refusal = (options: Omit<AlarmOptions, 'log'>) => {
    try {
      alarm(options);
    } catch (cause) {
      return cause;
    }
    return undefined;
  };

  it.each([
    ['example.org/secret', 'it is not a whole address'],
    ['', 'it is not a whole address'],
    ['http://', 'it is not a whole address'],
    ['ftp://example.org/secret', 'it begins with ftp:'],
    ['file:///etc/passwd', 'it begins with file:'],
    ['javascript:secret', 'it begins with javascript:'],
    [`https://example.org/${'secret'.repeat(400)}`, 'it is too long'],
  ])('the address %.40s', (webhook, why) => {
    expect(refusal({ webhook })).toMatchObject({
      code: 'alarm-unusable',
      message: `The alarm's web address cannot be used, since ${why}: give one such as https://example.org/path, beginning with http:// or https://.`,
    });
  });

  it.each([
    ['', 'it is empty'],
    [' \t\n', 'it is empty'],
    ['a\0b', 'it holds a character that no command can'],
    ['x'.repeat(8001), 'it is too long'],
  ])('the command %.10s', (command, why) => {
    expect(refusal({ command })).toMatchObject({
      code: 'alarm-unusable',
      message: `The alarm's command cannot be used, since ${why}: give it as you would type it.`,
    });
  });

  it.each(['http://127.0.0.1', 'https://example.org:8443/a?b=c', 'HTTPS://EXAMPLE.ORG', 'http://[::1]:80/'])(
    '%s can',
    (webhook) => {
      expect(refusal({ webhook })).toBeUndefined();
    },
  );
});
