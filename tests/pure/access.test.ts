// Who is let in, and to what, as far as it needs no sockets: roles, codes, wrong tries, cookies, devices, certificate.
import { X509Certificate } from 'node:crypto';
import { mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { deviceNameSchema, type Role } from '../../shared/access.js';
import { Access } from '../../src/server/access/access.js';
import { Bucket, Buckets } from '../../src/server/access/bucket.js';
import { ownCertificate } from '../../src/server/access/certificate.js';
import { cookieIn, writtenCookie } from '../../src/server/access/cookie.js';
import { Devices, UNUSED_MS } from '../../src/server/access/devices.js';
import { BURNT_AFTER, PAIRING_MS, Pairings } from '../../src/server/access/pairing.js';
import { codeAsPicture, codeAsText } from '../../src/server/access/qr.js';
import { addressOf, Throttle, WAITS_SECONDS } from '../../src/server/access/throttle.js';
import {
  AT_THIS_COMPUTER,
  mustBeAllowed,
  type Need,
  STRANGER,
  usualNeed,
} from '../../src/server/access/visitor.js';
import { Guard } from '../../src/server/guard.js';

const NOON = Date.UTC(2026, 5, 21, 12);
let folder = '';
beforeEach(async () => {
  folder = await mkdtemp(path.join(os.tmpdir(), 'evenrung-'));
});
afterEach(() => rm(folder, { recursive: true, force: true }));

const refusalOf = (work: () => unknown): string => {
  try {
    work();
    return 'allowed';
  } catch (cause) {
    return (cause as { code: string }).code;
  }
};

describe('what a visitor may do', () => {
  const device = (role: Role) => ({ role, device: 'd', name: 'a phone', isHere: false });
  it.each<[string, typeof STRANGER, Record<Need, string>]>([
    [
      'a stranger',
      STRANGER,
      { nothing: 'allowed', watch: 'not-paired', fire: 'not-paired', here: 'not-paired' },
    ],
    [
      'a viewer',
      device('watch'),
      { nothing: 'allowed', watch: 'allowed', fire: 'watch-only', here: 'only-here' },
    ],
    [
      'a firing phone',
      device('fire'),
      { nothing: 'allowed', watch: 'allowed', fire: 'allowed', here: 'only-here' },
    ],
    [
      'this computer',
      AT_THIS_COMPUTER,
      { nothing: 'allowed', watch: 'allowed', fire: 'allowed', here: 'allowed' },
    ],
  ])('%s', (_, visitor, wanted) => {
    for (const need of Object.keys(wanted) as Need[])
      expect([need, refusalOf(() => mustBeAllowed(visitor, need))]).toEqual([need, wanted[need]]);
  });

  it.each([
    ['GET', '/api/state', 'watch'],
    ['HEAD', '/api/state', 'watch'],
    ['POST', '/api/anything/new', 'fire'],
    ['PATCH', '/api/sets/:id', 'fire'],
    ['DELETE', '/api/devices/:id', 'fire'],
    ['GET', '/*', 'nothing'],
    ['GET', undefined, 'nothing'],
  ])('%s %s needs %s where nothing else is said', (method, pattern, need) => {
    expect(usualNeed(method, pattern)).toBe(need);
  });
});

describe('a pairing code', () => {
  it('is 128 random bits, pairs once, and has a role', () => {
    const pairings = new Pairings();
    const { secret } = pairings.begin('watch', NOON);
    expect(Buffer.from(secret, 'base64url')).toHaveLength(16);
    expect(pairings.begin('watch', NOON).secret).not.toBe(secret);
    expect(pairings.take(secret, NOON + 1)).toMatchObject({ role: 'watch' });
    expect(pairings.take(secret, NOON + 2)).toBeNull();
  });

  it('runs out after fifteen minutes', () => {
    const pairings = new Pairings();
    const { secret, id } = pairings.begin('fire', NOON);
    expect(pairings.withId(id, NOON + PAIRING_MS - 1)?.secret).toBe(secret);
    expect(pairings.withId(id, NOON + PAIRING_MS)).toBeNull();
    expect(pairings.take(secret, NOON + 15 * 60_000)).toBeNull();
  });

  it('is worthless after ten wrong tries, and good after nine', () => {
    for (const [wrong, isGood] of [
      [BURNT_AFTER - 1, true],
      [BURNT_AFTER, false],
    ] as const) {
      const pairings = new Pairings();
      const { secret } = pairings.begin('fire', NOON);
      for (let tries = 0; tries < wrong; tries += 1) expect(pairings.take(`guess ${tries}`, NOON)).toBeNull();
      expect(pairings.take(secret, NOON) !== null).toBe(isGood);
    }
  });
});

describe('wrong tries', () => {
  it('are slowed for the address and for all, ever longer, and forgotten', () => {
    const throttle = new Throttle();
    let now = NOON;
    const waits = [...Array(8)].map(() => {
      throttle.wrong('192.0.2.7', now);
      const wait = throttle.waitMs('192.0.2.7', now);
      expect(throttle.waitMs('192.0.2.8', now)).toBe(wait);
      now += wait;
      expect(throttle.waitMs('192.0.2.7', now)).toBe(0);
      return wait / 1000;
    });
    expect(waits).toEqual([...WAITS_SECONDS, 30, 30]);
    throttle.wrong('192.0.2.7', now);
    expect(throttle.waitMs('192.0.2.7', now + 16 * 60_000)).toBe(0);
    expect(throttle.wrong('192.0.2.7', now + 16 * 60_000)).toEqual({ here: 1, inAll: 1 });
  });

  it('from more addresses than there is room for: the oldest are forgotten, and all together still wait', () => {
    const throttle = new Throttle();
    for (let host = 0; host < 5000; host += 1) throttle.wrong(`10.0.${host >> 8}.${host & 255}`, NOON);
    expect(throttle.size).toBe(1000);
    expect(throttle.waitMs('10.9.9.9', NOON)).toBe(30_000);
  });

  it.each([
    ['::ffff:192.0.2.7', '192.0.2.7'],
    ['192.0.2.7', '192.0.2.7'],
    ['::1', '::1'],
    ['2001:db8:0:1:a:b:c:d', '2001:db8:0:1::/64'],
    ['2001:0db8:0:0001:ffff::1', '2001:db8:0:1::/64'],
    ['2001:db8::5', '2001:db8:0:0::/64'],
    ['fe80::1%eth0', 'fe80:0:0:0::/64'],
    [undefined, ''],
  ])('%s counts as %s', (remote, address) => {
    expect(addressOf(remote)).toBe(address);
  });

  it('the log counts them, and a right code still has to wait', async () => {
    const said: unknown[] = [];
    let now = NOON;
    const log = { info: () => undefined, warn: (...words: unknown[]) => void said.push(words.at(-1)) };
    const access = await Access.open({ stateFolder: folder, log, now: () => now });
    const { secret } = access.begin('fire');
    await expect(access.pair({ secret: 'guess', name: 'x' }, 'a', null)).rejects.toMatchObject({
      code: 'pairing-refused',
    });
    await expect(access.pair({ secret, name: 'x' }, 'b', null)).rejects.toMatchObject({
      code: 'too-many-tries',
      details: { waitSeconds: 1 },
    });
    now += 1000;
    expect((await access.pair({ secret, name: 'x' }, 'b', null)).device.name).toBe('x');
    expect(said).toEqual(['A wrong pairing code was tried: 1 so far.']);
  });
});

describe('a bucket', () => {
  it('lets a burst through, then as many as fill up again', () => {
    const bucket = new Bucket({ burst: 3, perSecond: 2 }, 0);
    expect([0, 0, 0, 0, 499, 500, 500, 1000].map((now) => bucket.take(now))).toEqual([
      true,
      true,
      true,
      false,
      false,
      true,
      false,
      true,
    ]);
  });

  it('one for each: nobody empties that of another', () => {
    const buckets = new Buckets({ burst: 1, perSecond: 0 });
    expect([buckets.take('a', 0), buckets.take('a', 0), buckets.take('b', 0)]).toEqual([true, false, true]);
  });
});

describe('the cookie', () => {
  it.each([
    [true, '__Host-evenrung=t; Path=/; Max-Age=5184000; HttpOnly; Secure; SameSite=Strict'],
    [false, 'evenrung=t; Path=/; Max-Age=5184000; HttpOnly; SameSite=Strict'],
  ])('over TLS: %s', (isSecure, written) => {
    expect(writtenCookie('t', isSecure)).toBe(written);
  });

  it.each([
    ['a=b; __Host-evenrung=t; c=d', 't'],
    ['__Host-evenrung=t', 't'],
    ['evenrung=t', null],
    ['__Host-evenrung=t; __Host-evenrung=u', null],
    ['__HOST-evenrung=t', null],
    [`__Host-evenrung=${'t'.repeat(201)}`, null],
    [undefined, null],
    ['', null],
  ])('%s holds %s', (header, token) => {
    expect(cookieIn(header, true)).toBe(token);
  });
});

describe('paired devices', () => {
  const open = (now = NOON) => Devices.open(folder, now, (line) => expect.fail(line));

  it('are known by 256 random bits of which only a hash is kept, also after a restart', async () => {
    const { device, token } = await (await open()).add("phone's owner", 'fire', NOON);
    const [, secret = ''] = token.split('.');
    expect(Buffer.from(secret, 'base64url')).toHaveLength(32);
    const kept = await readFile(path.join(folder, 'devices.json'), 'utf8');
    expect(kept).toContain(device.id);
    expect(kept).not.toContain(secret);
    expect((await open()).visitor(token, NOON)).toEqual({
      role: 'fire',
      device: device.id,
      name: "phone's owner",
      isHere: false,
    });
  });

  it('another one proves nothing', async () => {
    const devices = await open();
    const [fires, watches] = [await devices.add('a', 'fire', NOON), await devices.add('b', 'watch', NOON)];
    const [, secret = ''] = watches.token.split('.');
    const { devices: kept } = JSON.parse(await readFile(path.join(folder, 'devices.json'), 'utf8')) as {
      devices: { proof: string }[];
    };
    for (const token of [
      `${fires.device.id}.${secret}`,
      `${fires.device.id}.${kept[0]?.proof}`,
      `${fires.device.id}.`,
      fires.device.id,
      `${fires.token}.x`,
      '',
      '.',
      `__proto__.${secret}`,
    ])
      expect([token, devices.visitor(token, NOON)]).toEqual([token, null]);
  });

  it('thirty days unused are gone; use keeps them', async () => {
    const devices = await open();
    const { token } = await devices.add('a', 'fire', NOON);
    const { token: other } = await devices.add('b', 'fire', NOON);
    const later = NOON + UNUSED_MS - 1;
    expect(devices.visitor(token, later)).not.toBeNull();
    expect(devices.visitor(other, later + 1)).toBeNull();
    expect(devices.list(later + 1).map(({ name }) => name)).toEqual(['a']);
    await devices.settled(later + 1);
    const again = await open(later);
    expect(again.visitor(token, later + UNUSED_MS - 1)).not.toBeNull();
    expect(again.visitor(token, later + 3 * UNUSED_MS)).toBeNull();
  });

  it('dropped: gone at once and for good', async () => {
    const devices = await open();
    const { device, token } = await devices.add('a', 'fire', NOON);
    const dropping = devices.drop(device.id);
    expect(devices.visitor(token, NOON)).toBeNull();
    expect(await dropping).toBe(true);
    expect(await devices.drop(device.id)).toBe(false);
    expect((await open()).visitor(token, NOON)).toBeNull();
  });

  it('many at once: all are kept', async () => {
    const devices = await open();
    const added = await Promise.all([...Array(20)].map((_, n) => devices.add(`phone ${n}`, 'watch', NOON)));
    await devices.drop(added[3]?.device.id ?? '');
    const again = await open();
    expect(added.map(({ token }) => again.visitor(token, NOON) !== null)).toEqual(
      added.map((_, index) => index !== 3),
    );
  });

  it('a list that is damaged lets nobody in, and is kept aside', async () => {
    await (await open()).add('a', 'fire', NOON);
    await writeFile(path.join(folder, 'devices.json'), '{"version":1,"devices":[{"id":"x"}]}');
    const said: string[] = [];
    const devices = await Devices.open(folder, NOON, (line) => said.push(line));
    expect(devices.list(NOON)).toEqual([]);
    expect(said).toHaveLength(1);
    expect(await readdir(folder)).toEqual(['devices.json.damaged-1']);
  });

  it('that cannot be kept are not paired, and the code is good still', async () => {
    const log = { info: () => undefined, warn: () => undefined };
    const access = await Access.open({
      stateFolder: path.join(folder, 'file', 'below'),
      log,
      now: () => NOON,
    });
    await writeFile(path.join(folder, 'file'), '');
    const { secret } = access.begin('fire');
    await expect(access.pair({ secret, name: 'x' }, 'a', null)).rejects.toMatchObject({
      code: 'state-not-writable',
    });
    expect(access.list()).toEqual([]);
    await rm(path.join(folder, 'file'));
    expect((await access.pair({ secret, name: 'x' }, 'a', null)).device.role).toBe('fire');
  });

  it('paired anew: the one before is gone, and that is told', async () => {
    const log = { info: () => undefined, warn: () => undefined };
    const access = await Access.open({ stateFolder: folder, log });
    const told: string[] = [];
    access.onDropped((id) => told.push(id));
    const first = await access.pair({ secret: access.begin('watch').secret, name: 'x' }, 'a', null);
    const second = await access.pair(
      { secret: access.begin('fire').secret, name: 'x' },
      'a',
      first.device.id,
    );
    expect(told).toEqual([first.device.id]);
    expect(access.list()).toEqual([second.device]);
  });

  it.each(['', ' ', 'a\nb', 'a\u001b[2J', 'x'.repeat(41), '\u202eevil', 'a\u2028b'])(
    'no name: %j',
    (name) => {
      expect(deviceNameSchema.safeParse(name).success).toBe(false);
    },
  );

  it.each(["phone's owner", ' the blue one ', 'téléphone', '青い電話'])('a name: %j', (name) => {
    expect(deviceNameSchema.parse(name)).toBe(name.trim());
  });
});

describe('the certificate', () => {
  it('is made once, for the names, with a key that only its owner reads', async () => {
    const first = await ownCertificate(folder, ['192.0.2.7', 'boathouse.test', 'fd00::2'], Date.now());
    const certificate = new X509Certificate(first.cert);
    expect(certificate.subjectAltName).toBe(
      'IP Address:192.0.2.7, DNS:boathouse.test, IP Address:FD00:0:0:0:0:0:0:2',
    );
    expect(first.fingerprint).toBe(certificate.fingerprint256);
    const days = (Date.parse(certificate.validTo) - Date.parse(certificate.validFrom)) / 86_400_000;
    expect(days).toBeLessThan(825);
    expect((await stat(path.join(folder, 'tls', 'key.pem'))).mode & 0o777).toBe(0o600);
    expect((await stat(path.join(folder, 'tls'))).mode & 0o777).toBe(0o700);
    expect(await ownCertificate(folder, ['192.0.2.9'], Date.now())).toEqual(first);
  });

  it('that has nearly run out, is damaged, or has lost its key is made anew', async () => {
    const { fingerprint } = await ownCertificate(folder, ['a.test'], Date.now());
    const late = await ownCertificate(folder, ['a.test'], Date.now() + 780 * 86_400_000);
    expect(late.fingerprint).not.toBe(fingerprint);
    const now = Date.now() + 781 * 86_400_000;
    await writeFile(path.join(folder, 'tls', 'cert.pem'), 'damaged');
    const mended = await ownCertificate(folder, ['a.test'], now);
    expect(mended.fingerprint).not.toBe(late.fingerprint);
    await rm(path.join(folder, 'tls', 'key.pem'));
    expect((await ownCertificate(folder, ['a.test'], now)).fingerprint).not.toBe(mended.fingerprint);
  });
});

describe('the guard of a door over TLS', () => {
  const guard = new Guard(() => ['192.0.2.7', 'boathouse.test'], 443, 'https');
  it.each([
    [{ host: 'boathouse.test' }, 'allowed'],
    [{ host: 'boathouse.test:443', origin: 'https://boathouse.test:443' }, 'allowed'],
    [{ host: '192.0.2.7', origin: 'https://192.0.2.7' }, 'allowed'],
    [{ host: 'boathouse.test', origin: 'http://boathouse.test' }, 'foreign-origin'],
    [{ host: 'boathouse.test', origin: 'https://boathouse.test:4161' }, 'foreign-origin'],
    [{ host: 'boathouse.test', origin: 'null' }, 'foreign-origin'],
    [{ host: 'boathouse.test.evil.example' }, 'foreign-host'],
    [{ host: '192.0.2.8' }, 'foreign-host'],
    [{}, 'foreign-host'],
    [
      { host: 'boathouse.test', 'sec-fetch-site': 'cross-site', 'sec-fetch-mode': 'no-cors' },
      'foreign-origin',
    ],
    [
      {
        host: 'boathouse.test',
        'sec-fetch-site': 'same-site',
        'sec-fetch-mode': 'navigate',
        'sec-fetch-dest': 'iframe',
      },
      'foreign-origin',
    ],
    [
      {
        host: 'boathouse.test',
        'sec-fetch-site': 'cross-site',
        'sec-fetch-mode': 'navigate',
        'sec-fetch-dest': 'document',
      },
      'allowed',
    ],
    [{ host: 'boathouse.test', 'sec-fetch-site': 'same-origin', 'sec-fetch-mode': 'cors' }, 'allowed'],
  ])('%j: %s', (headers, outcome) => {
    expect(refusalOf(() => guard.check(headers))).toBe(outcome);
  });
});

describe('the code', () => {
  const LINK = 'https://192.0.2.7:4161/#pair=AAAAAAAAAAAAAAAAAAAAAA';

  it('is a picture without script or style', async () => {
    const svg = await codeAsPicture(LINK);
    expect(svg).toMatch(/^<svg [^>]*viewBox/);
    expect(svg).not.toMatch(/script|style|href/);
    expect(await codeAsPicture(`${LINK}B`)).not.toBe(svg);
  });

  it('is drawn with blocks; colours only where they are wanted', async () => {
    const plain = await codeAsText(LINK, false);
    expect(plain).toMatch(/^[█▀▄ \n]+$/);
    const coloured = await codeAsText(LINK, true);
    expect(coloured).toContain('\u001b[97;40m');
    // biome-ignore lint/suspicious/noControlCharactersInRegex: what steers a terminal is looked for.
    expect(coloured.replace(/\u001b\[[\d;]+m/g, '')).toBe(plain);
  });
});
