// Each result code of libgphoto2 becomes an error of the catalogue with a sentence. Codes as in gphoto2-result.h and
// gphoto2-port-result.h of libgphoto2 2.5.30.
import { expect, test } from 'vitest';
import { changingFailed, firingFailed, readingFailed } from '../../src/camera/library/result-codes.js';

const codes = (
  codesAndErrors: readonly (readonly [number, string])[],
  of: (code: number) => { code: string },
) => {
  for (const [code, error] of codesAndErrors) expect(`${code} ${of(code).code}`).toBe(`${code} ${error}`);
};

const UNREACHABLE = [
  [-7, 'body-lost'],
  [-10, 'body-lost'],
  [-34, 'body-lost'],
  [-35, 'body-lost'],
  [-52, 'body-lost'],
  [-53, 'body-busy'],
  [-60, 'body-busy'],
  [-105, 'body-lost'],
  [-110, 'body-busy'],
] as const;

test('whatever the body was asked for, the same codes say that it is lost or busy', () => {
  codes(UNREACHABLE, readingFailed);
  codes(UNREACHABLE, (code) => changingFailed(code, 'iso', '100'));
  codes(UNREACHABLE, firingFailed);
});

test('other codes depend on what was asked for', () => {
  codes([[-1, 'body-lost']], readingFailed);
  codes(
    [
      [-1, 'setting-not-taken'],
      [-2, 'setting-not-taken'],
      [-6, 'setting-not-taken'],
      [-113, 'setting-not-taken'],
    ],
    (code) => changingFailed(code, 'iso', '100'),
  );
  codes(
    [
      [-1, 'frame-missing'],
      [-107, 'frame-missing'],
      [-108, 'frame-missing'],
      [-112, 'frame-missing'],
      [-113, 'frame-missing'],
      [-114, 'frame-missing'],
      [-3, 'storing-failed'],
      [-115, 'storing-failed'],
      [-6, 'body-not-ready'],
      [28, 'storing-failed'],
    ],
    firingFailed,
  );
});

test('an errno is told by its name, and the frame counts as made', () => {
  const error = firingFailed(28);
  expect(error.message).toContain('ENOSPC');
  expect(error.details).toEqual({ result: 28, released: true });
  expect(firingFailed(99_999).message).toContain('99999');
});

test('a claimed device is explained with what holds it, and the shutter was surely not touched', () => {
  const error = firingFailed(-53);
  expect(error.message).toMatch(/file manager.*udev/s);
  expect(error.details.released).toBe(false);
});
