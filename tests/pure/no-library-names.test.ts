// A photographer is never told the name of a library: what is said names the thing that it does. What has to be installed by its name is
// the one exception, and each such sentence stands here.
import { readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';

const NAMES =
  /libgphoto2|gphoto|exif-?tool|exif-?reader|(?<!\.)\bsqlite(?!-)\b|\bzod\b|fastify|commander|suncalc|\bsharp\b|node-gyp/i;

/** Set-up instructions, which have to name what is installed. */
const INSTALLED_BY_NAME: readonly string[] = [
  'Install libgphoto2 with its headers, pkg-config, make and a C++ compiler, then start again with npm start.',
  "Install libgphoto2 2.5 from the system's packages, then start again with npm start.",
];

/** What runs before anything is installed says what to install; the others are read by programs, not shown. */
const LEFT_OUT = /^src\/set-up\//;

const files = ['src', 'shared', 'web/src'].flatMap((folder) =>
  readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((name) => /\.tsx?$/.test(name))
    .map((name) => path.posix.join(folder, name)),
);

/** @returns the texts in a file: quoted, or between tags. Comments are left out, and so are single words, which no sentence is. */
function sentencesIn(source: string): string[] {
  const token =
    /\/\/[^\n]*|\/\*[\s\S]*?\*\/|'(?:[^'\\\n]|\\.)*'|"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\[\s\S])*`|>[^<>{}=;()]*[a-z] [^<>{}=;()]*</g;
  return [...source.matchAll(token)]
    .map(([text]) => text)
    .filter((text) => !text.startsWith('/') && /[a-z,.:] \S/i.test(text))
    .map((text) => text.slice(1, -1));
}

const isStatement = (text: string): boolean => /^\s*(SELECT|INSERT|UPDATE|DELETE|CREATE)\b/.test(text);

describe('sentences', () => {
  it('are found, in quotation marks of each kind and between tags, and comments are not', () => {
    const source =
      "say('one sentence'); // sqlite here\n" +
      'tell(`another one sentence`); /* exiftool there */ const a = "a third one"; <p>and the last one</p>';
    expect(sentencesIn(source)).toEqual([
      'one sentence',
      'another one sentence',
      'a third one',
      'and the last one',
    ]);
    expect(files.length).toBeGreaterThan(200);
  });

  it.each(files.filter((file) => !LEFT_OUT.test(file)))('of %s name no library', (file) => {
    const named = sentencesIn(readFileSync(file, 'utf8')).filter(
      (text) => NAMES.test(text) && !isStatement(text) && !INSTALLED_BY_NAME.includes(text),
    );
    expect(named).toEqual([]);
  });
});
