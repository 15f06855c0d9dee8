// The calls of libgphoto2 are typed by hand. A C compiler holds each prototype, each structure and each number against the headers
// that are installed: a prototype is written once more behind the header's own, which is only allowed if both are the same.
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import koffi from 'koffi';
import { afterAll, beforeAll, expect, test } from 'vitest';
import {
  type Declare,
  EVENT,
  INFO,
  NORMAL,
  ofC,
  ofLibrary,
  ofPortLibrary,
  SHORT,
  WIDGET,
} from '../../src/camera/direct/gp.js';
import { declareTypes, FILE_SYSTEM_AT } from '../../src/camera/direct/layout.js';
import { RESULT } from '../../src/camera/library/result-codes.js';

const prototypes: string[] = [];
const collect = ((prototype: string) => {
  prototypes.push(prototype);
}) as Declare;
ofLibrary(collect);
ofPortLibrary(collect);
ofC(collect);

// As gp.ts has it where text is none.
const HEAD = `
#include <stddef.h>
#include <stdlib.h>
#include <gphoto2/gphoto2.h>
#include <gphoto2/gphoto2-setting.h>
#include <gphoto2/gphoto2-version.h>
typedef const char *Bytes;
typedef char *Room;
`;

const inC = (prototype: string): string => `${prototype.replace(/_(?:Out|Inout)_ /g, '')};`;

let folder: string;
let flags: string[];

beforeAll(() => {
  folder = mkdtempSync(path.join(tmpdir(), 'evenrung-headers-'));
  flags = execFileSync('pkg-config', ['--cflags', 'libgphoto2'], { encoding: 'utf8' })
    .split(/\s+/)
    .filter(Boolean);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** @returns what the compiler finds wrong, as errors */
const compile = (lines: readonly string[]): string => compiled(lines, '-Wall', '-Werror');

function compiled(lines: readonly string[], ...warnings: readonly string[]): string {
  const file = path.join(folder, 'check.c');
  writeFileSync(file, [HEAD, ...lines, ''].join('\n'));
  const { status, stderr } = spawnSync('cc', ['-fsyntax-only', ...warnings, ...flags, file], {
    encoding: 'utf8',
  });
  return status === 0 && !warnings.includes('-Wredundant-decls') ? '' : stderr;
}

test('each prototype is that of the header', () => {
  expect(prototypes.length).toBeGreaterThan(45);
  expect(new Set(prototypes).size).toBe(prototypes.length);
  expect(compile(prototypes.map(inC))).toBe('');
  // Each is in a header indeed: otherwise it would be declared here for the first time, and agree with nothing.
  const again = compiled(prototypes.map(inC), '-Wredundant-decls').match(/redundant redeclaration/g) ?? [];
  expect(again).toHaveLength(prototypes.length);
});

test('one that differs would be found', () => {
  for (const wrong of [
    'int gp_camera_unref(Camera *camera, int more)',
    'int gp_camera_wait_for_event(Camera *camera, long timeout, _Out_ CameraEventType *eventtype, _Out_ void **eventdata, GPContext *context)',
    'long gp_list_count(CameraList *list)',
    'int gp_list_new(_Out_ CameraWidget **list)',
  ]) {
    expect(compile([inC(wrong)])).toContain('conflicting types');
  }
  expect(compile(['_Static_assert(sizeof(CameraFilePath) == 1, "size");'])).toContain('size');
});

test('structures have the size and the places of the header', () => {
  koffi.reset();
  declareTypes(koffi);
  const lines = ['CameraFilePath', 'CameraAbilities', 'CameraFileInfo'].flatMap((name) => {
    const { size, members = {} } = koffi.type(name);
    const places = Object.entries(members).flatMap(([member, { offset, type }]) => [
      ...(member === 'reserved'
        ? []
        : [`_Static_assert(offsetof(${name}, ${member}) == ${offset}, "${member}");`]),
      ...Object.entries(type.members ?? {}).map(
        ([inner, { offset: at }]) =>
          `_Static_assert(offsetof(${name}, ${member}.${inner}) == ${offset + at}, "${member}.${inner}");`,
      ),
    ]);
    return [`_Static_assert(sizeof(${name}) == ${size}, "${name}");`, ...places];
  });
  expect(lines.length).toBeGreaterThan(30);
  lines.push(`_Static_assert(offsetof(Camera, fs) == ${FILE_SYSTEM_AT}, "fs");`);
  for (const name of ['CameraEventType', 'CameraWidgetType', 'CameraFileType', 'GPVersionVerbosity']) {
    lines.push(`_Static_assert(sizeof(${name}) == sizeof(int), "${name}");`);
  }
  expect(compile(lines)).toBe('');
});

test('numbers are those of the header', () => {
  const names: Readonly<Record<string, number>> = {
    GP_EVENT_TIMEOUT: EVENT.timeout,
    GP_EVENT_FILE_ADDED: EVENT.fileAdded,
    GP_EVENT_CAPTURE_COMPLETE: EVENT.captureComplete,
    GP_FILE_TYPE_NORMAL: NORMAL,
    GP_FILE_INFO_SIZE: INFO.size,
    GP_FILE_INFO_MTIME: INFO.mtime,
    GP_VERSION_SHORT: SHORT,
    ...Object.fromEntries(
      Object.entries(WIDGET).map(([name, number]) => [`GP_WIDGET_${name.toUpperCase()}`, number]),
    ),
    GP_ERROR_BAD_PARAMETERS: RESULT.badParameters,
    GP_ERROR_NO_MEMORY: RESULT.noMemory,
    GP_ERROR_NOT_SUPPORTED: RESULT.notSupported,
    GP_ERROR_IO: RESULT.io,
    GP_ERROR_TIMEOUT: RESULT.timeout,
    GP_ERROR_IO_INIT: RESULT.ioInit,
    GP_ERROR_IO_READ: RESULT.ioRead,
    GP_ERROR_IO_WRITE: RESULT.ioWrite,
    GP_ERROR_IO_USB_FIND: RESULT.usbFind,
    GP_ERROR_IO_USB_CLAIM: RESULT.usbClaim,
    GP_ERROR_IO_LOCK: RESULT.lock,
    GP_ERROR_MODEL_NOT_FOUND: RESULT.modelNotFound,
    GP_ERROR_CAMERA_BUSY: RESULT.cameraBusy,
    GP_ERROR_NO_SPACE: RESULT.noSpace,
  };
  const lines = Object.entries(names).map(
    ([name, number]) => `_Static_assert((int)${name} == ${number}, "${name}");`,
  );
  expect(compile(lines)).toBe('');
});
