// The command `devices`, as a process, against a daemon on loopback; and what `serve` makes of its options for the network.
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { pairingSchema } from '../../shared/access.js';
import { lanPortOf, pairingWords, wantsLan } from '../../src/commands/lan.js';
import { run } from '../built.js';
import { type Doors, NAME, openDoors } from '../two-doors.js';

let doors: Doors;
beforeAll(async () => {
  doors = await openDoors();
});
afterAll(() => doors.close());

const devices = (...args: string[]) =>
  run(['devices', ...args, '--at', `http://127.0.0.1:${doors.port.here}`]);

describe('devices', () => {
  it('pair, list and remove', async () => {
    expect((await devices()).stdout).toBe('No device is paired.\n');
    const paired = await devices('pair', '--role', 'watch', '--json');
    const { link, secret, role, fingerprint } = pairingSchema.parse(JSON.parse(paired.stdout));
    expect([link, role]).toEqual([`https://${NAME}:${doors.port.network}/#pair=${secret}`, 'watch']);
    expect(fingerprint).toBe(doors.server.network?.fingerprint);
    const answer = await doors.ask('network', 'POST', '/api/pair', { body: { secret, name: 'the tablet' } });
    expect(answer.status).toBe(200);
    const listed = await devices('list', '--json');
    const { id, name } = JSON.parse(listed.stdout) as { id: string; name: string };
    expect(name).toBe('the tablet');
    expect((await devices('list')).stdout).toMatch(/^[0-9a-f]{8} {2}watches {2}last seen .* the tablet\n$/);
    const [cookie = ''] = answer.headers['set-cookie'] ?? [];
    const asked = { cookie: cookie.split(';')[0] ?? '' };
    expect((await doors.ask('network', 'GET', '/api/state', asked)).status).toBe(200);
    const removed = await devices('remove', id.slice(0, 6));
    expect([removed.code, removed.stdout]).toEqual([0, 'Removed: the tablet.\n']);
    expect((await doors.ask('network', 'GET', '/api/state', asked)).status).toBe(401);
    const again = await devices('remove', id);
    expect([again.code, again.stderr]).toEqual([2, expect.stringContaining('No paired device has an id')]);
  });

  it('pair: what to scan, what to type, until when, and which fingerprint', async () => {
    const { code, stdout } = await devices('pair');
    expect(code).toBe(0);
    expect(stdout).toMatch(/[█▀▄]{20}/);
    expect(stdout).toMatch(new RegExp(`https://${NAME}:${doors.port.network}/#pair=[\\w-]{22}\n`));
    expect(stdout).toMatch(/pairs one device, once, until \d\d:\d\d\./);
    expect(stdout.replace(/\s/g, '')).toContain(
      (doors.server.network?.fingerprint ?? 'none').replace(/^(.{47}):/, '$1'),
    );
  });

  it('no daemon: one clear sentence', async () => {
    const nobody = await run(['devices']);
    expect([nobody.code, nobody.stderr]).toEqual([
      1,
      expect.stringContaining('Evenrung is not running here'),
    ]);
    const elsewhere = await run(['devices', '--at', 'http://192.0.2.7:4160']);
    expect([elsewhere.code, elsewhere.stderr]).toEqual([
      2,
      expect.stringContaining('an address of this computer'),
    ]);
  });
});

describe('the network', () => {
  it.each([
    [{}, false],
    [{ lanPort: 5000 }, false],
    [{ lan: true }, true],
    [{ lanPlain: true }, true],
  ])('%j: %s', (choice, wants) => {
    expect(wantsLan(choice)).toBe(wants);
  });

  it.each([
    [{}, 4160, 4161],
    [{}, 0, 0],
    [{}, 65_535, 0],
    [{ lanPort: 5000 }, 4160, 5000],
    [{ lanPort: 0 }, 4160, 0],
  ])('%j beside port %i: %i', (choice, port, lanPort) => {
    expect(lanPortOf(choice, port)).toBe(lanPort);
  });

  it('without a certificate nothing is said of one', async () => {
    expect(await pairingWords('http://192.0.2.7:4161/#pair=x', new Date(), null, false)).not.toMatch(
      /SHA-256|certificate/,
    );
  });
});
