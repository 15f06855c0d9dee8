// The command `pair`, as a process, against a daemon behind TLS on loopback; and the commands that it lets in there.
import { mkdtemp, readFile, rm, stat, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { PassThrough } from 'node:stream';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { mustBelieve } from '../../src/commands/pair.js';
import { run, start } from '../built.js';
import { type Doors, openDoors } from '../two-doors.js';

const HERE = '127.0.0.1';

let doors: Doors;
let folder = '';
let origin = '';
let fingerprint = '';
beforeAll(async () => {
  doors = await openDoors({ name: HERE });
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
  origin = `https://${HERE}:${doors.port.network}`;
  fingerprint = doors.server.network?.fingerprint ?? '';
});
afterAll(async () => {
  await doors.close();
  await rm(folder, { recursive: true, force: true });
});

/** A computer of its own, as far as what is kept there goes. */
const elsewhere = (name = 'one') => ({ XDG_STATE_HOME: path.join(folder, name) });
const linkOf = async (role: 'fire' | 'watch' = 'fire') => `${origin}/#pair=${await doors.secret(role)}`;
const pair = async (role: 'fire' | 'watch', name: string, ...more: string[]) =>
  run(['pair', await linkOf(role), '--fingerprint', fingerprint, ...more], elsewhere(name));
const fireThere = (name: string) =>
  run(['fire', '--frames', '3', '--step', '1', '--at', origin], elsewhere(name));
const keptIn = (name: string) => path.join(folder, name, 'evenrung', 'daemons.json');

describe('pair', () => {
  it('lets fire and run in, over TLS; what proves it is for the owner alone', async () => {
    const stranger = await fireThere('one');
    expect([stranger.code, stranger.stderr]).toEqual([2, expect.stringContaining('is not paired with')]);
    const paired = await pair('fire', 'one', '--name', 'the script');
    expect([paired.code, paired.stdout]).toEqual([
      0,
      `Paired as the script: it may fire there, with \`fire --at ${origin}\`.\n`,
    ]);
    expect((await stat(keptIn('one'))).mode & 0o777).toBe(0o600);
    const before = doors.released();
    const fired = await fireThere('one');
    expect([fired.code, fired.stdout]).toEqual([0, expect.stringContaining('All 3 frames are verified.')]);
    expect(doors.released() - before).toBe(3);
    const stopped = await run(['run', 'stop', '--at', origin], elsewhere());
    expect([stopped.code, stopped.stderr]).toEqual([2, expect.stringContaining('Nothing is')]);
    const { text } = await doors.ask('here', 'GET', '/api/devices');
    expect(text).toContain('the script');
  });

  it('again: the new session takes the place of the old one', async () => {
    expect((await pair('watch', 'one', '--json')).stdout).toMatch(/"role":"watch"\}\n$/);
    const { daemons } = JSON.parse(await readFile(keptIn('one'), 'utf8')) as {
      daemons: { origin: string }[];
    };
    expect(daemons.map((kept) => kept.origin)).toEqual([origin]);
    const before = doors.released();
    const fired = await fireThere('one');
    expect([fired.code, fired.stderr]).toEqual([2, expect.stringContaining('may only watch')]);
    expect(doors.released()).toBe(before);
  });

  it('a device that is dropped is a stranger at once', async () => {
    await pair('fire', 'two', '--name', 'the other script');
    const fired = start(
      ['fire', '--frames', '3', '--step', '1', '--delay', '30', '--at', origin],
      elsewhere('two'),
    );
    await fired.until(/3 frames/);
    const { text } = await doors.ask('here', 'GET', '/api/devices');
    const { devices } = JSON.parse(text) as { devices: { id: string; name: string }[] };
    const { id = '' } = devices.find(({ name }) => name === 'the other script') ?? {};
    await expect.poll(() => doors.station.isRunning, { timeout: 10_000 }).toBe(true);
    expect((await doors.ask('here', 'DELETE', `/api/devices/${id}`)).status).toBe(200);
    const { code, stderr } = await fired.ended;
    expect([code, stderr]).toEqual([2, expect.stringContaining('This device is not paired')]);
    expect((await doors.ask('here', 'POST', '/api/run/stop')).status).toBe(202);
    await expect.poll(() => doors.station.isRunning, { timeout: 10_000 }).toBe(false);
  });

  it('another certificate is told from that of the daemon, and nothing is sent', async () => {
    const link = await linkOf();
    const other = 'ab'.repeat(32);
    const refused = await run(['pair', link, '--fingerprint', other], elsewhere('three'));
    expect([refused.code, refused.stderr]).toEqual([2, expect.stringContaining('shows another certificate')]);
    const nobody = await run(['pair', link], elsewhere('three'));
    expect([nobody.code, nobody.stderr]).toEqual([2, expect.stringContaining('give --fingerprint')]);
    // The secret was not used up.
    const paired = await run(['pair', link, '--fingerprint', fingerprint], elsewhere('three'));
    expect(paired.code).toBe(0);

    const another = await openDoors({ name: HERE });
    const kept = await readFile(keptIn('three'), 'utf8');
    const moved = `https://${HERE}:${another.port.network}`;
    await writeFile(keptIn('three'), kept.replaceAll(origin, moved));
    const fired = await run(['run', 'stop', '--at', moved], elsewhere('three'));
    await another.close();
    expect([fired.code, fired.stderr]).toEqual([
      2,
      expect.stringContaining('does not show the certificate that this one was paired with'),
    ]);
  });

  it('a secret that was used, and what is no link: one clear sentence', async () => {
    const link = await linkOf();
    expect((await run(['pair', link, '--fingerprint', fingerprint], elsewhere('four'))).code).toBe(0);
    const again = await run(['pair', link, '--fingerprint', fingerprint], elsewhere('four'));
    expect([again.code, again.stderr]).toEqual([
      2,
      expect.stringContaining('pairing code is used, expired or wrong'),
    ]);
    for (const text of [origin, `${origin}/#pair=`, 'boathouse', `ftp://${HERE}/#pair=x`]) {
      const refused = await run(['pair', text, '--fingerprint', fingerprint], elsewhere('four'));
      expect([refused.code, refused.stderr]).toEqual([2, expect.stringContaining('the whole address')]);
    }
  });

  it('where nothing can be kept the code is not used', async () => {
    // A file where the folder should be.
    await writeFile(path.join(folder, 'six'), '');
    doors.later(60);
    const link = await linkOf();
    const refused = await run(['pair', link, '--fingerprint', fingerprint], elsewhere('six'));
    expect([refused.code, refused.stderr]).toEqual([2, expect.stringContaining('the code was not used')]);
    expect((await run(['pair', link, '--fingerprint', fingerprint], elsewhere('seven'))).code).toBe(0);
  });

  it('what is kept and cannot be read is set aside and said', async () => {
    // A wrong code was tried above.
    doors.later(60);
    expect((await pair('fire', 'five')).code).toBe(0);
    await writeFile(keptIn('five'), '{"version":1,"daemons":[{}]}');
    const fired = await fireThere('five');
    expect([fired.code, fired.stderr]).toEqual([2, expect.stringContaining('Pair it again')]);
    expect(await readFile(`${keptIn('five')}.damaged-1`, 'utf8')).toBe('{"version":1,"daemons":[{}]}');
  });
});

describe('the question whether the certificate is the right one', () => {
  const seen = { fingerprint256: `${'AB:'.repeat(31)}CD` };
  const ask = (said: string | null) => {
    const [input, output] = [new PassThrough(), new PassThrough()];
    const asked = mustBelieve(new URL('https://192.0.2.7:4161/'), seen, undefined, { input, output });
    if (said === null) input.end();
    else input.write(`${said}\n`);
    return { asked, output };
  };

  it('yes lets it go on, and the whole fingerprint was shown', async () => {
    const { asked, output } = ask(' Yes ');
    await asked;
    expect(String(output.read()).replace(/\s/g, '')).toContain(
      seen.fingerprint256.replace(/^(.{47}):/, '$1'),
    );
  });

  it.each(['no', '', 'y', 'yes!', null])('%j does not', async (said) => {
    await expect(ask(said).asked).rejects.toMatchObject({ code: 'certificate-differs' });
  });
});
