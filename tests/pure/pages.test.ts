// Each error of the catalogue has a section of the notes that is there and says something, and whoever is told the error is told
// which section that is. And no page is left where nobody finds it.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { ERRORS, type ErrorCode } from '../../shared/error-codes.js';
import { EvenrungError } from '../../shared/errors.js';
import { anchorOf, PAGES, pageAddress, pageWords } from '../../shared/pages.js';
import { text } from '../../web/src/text.js';

const TOP = fileURLToPath(new URL('../..', import.meta.url));
const CODES = Object.keys(ERRORS) as ErrorCode[];
/** Shorter than that nobody can say what it means and what to do. */
const FEWEST_WORDS = 12;

const read = (page: string) => readFile(path.join(TOP, page), 'utf8');

/** @returns what stands under a heading, down to the next one */
function under(source: string, section: string): string[] {
  const lines = source.split('\n');
  const found = lines.flatMap((line, index) =>
    /^#+ /.test(line) && heading(line) === section ? [index] : [],
  );
  return found.map((at) => {
    const rest = lines.slice(at + 1);
    const end = rest.findIndex((line) => /^#+ /.test(line));
    return rest.slice(0, end < 0 ? undefined : end).join('\n');
  });
}

const heading = (line: string) => line.replace(/^#+ /, '').trim();

describe.each(CODES)('%s', (code) => {
  it('has one section, with the four things to know', async () => {
    const { page, section } = PAGES[code];
    const [text, ...others] = under(await read(page), section);
    expect(others).toEqual([]);
    expect(text?.split(/\s+/).length ?? 0).toBeGreaterThan(FEWEST_WORDS);
    for (const part of ['Message', 'Cause', 'What to do', "What's safe"])
      expect(text).toMatch(new RegExp(`^- \\*\\*${part}:\\*\\* \\S`, 'm'));
  });

  it('names it: in words for a terminal, as an address on the wire', () => {
    const { page, section } = PAGES[code];
    expect(pageWords(code)).toBe(`${page}, "${section}"`);
    const { error } = new EvenrungError(code, 'What happened.', { page: 'elsewhere', frame: 3 }).toWire();
    expect(error).toEqual({ code, message: 'What happened.', frame: 3, page: pageAddress(code) });
  });
});

describe('the page', () => {
  it('has no section that no error leads to', async () => {
    const source = await read('hardware-notes/when-it-stops.md');
    const sections = source
      .split('\n')
      .filter((line) => line.startsWith('## '))
      .map(heading);
    const led = new Set(CODES.map((code) => PAGES[code].section));
    expect(sections.filter((section) => !led.has(section))).toEqual([]);
  });

  it.each([
    // Expected: worked out by hand from what code hosts do (lower case, marks dropped, blanks to dashes).
    ['Nothing can be stored', 'nothing-can-be-stored'],
    ['A, amount (vendor extension 0x0B)', 'a-amount-vendor-extension-0x0b'],
    ['Aperture priority, and the files tell too little', 'aperture-priority-and-the-files-tell-too-little'],
  ])('%s: #%s', (words, anchor) => {
    expect(anchorOf(words)).toBe(anchor);
  });
});

describe('each page of the notes', () => {
  it.each(Object.keys(text.pagesOn))('%s, which the panel leads to, is there', async (page) => {
    expect(await read(`hardware-notes/${page}.md`)).toMatch(/^# \S/);
  });

  it('is reached from the README, and from the list of notes', async () => {
    const files = await readdir(path.join(TOP, 'hardware-notes'));
    const [readme, list] = await Promise.all([read('README.md'), read('hardware-notes/README.md')]);
    const pages = files.filter((file) => file.endsWith('.md') && file !== 'README.md');
    expect(pages.length).toBeGreaterThan(10);
    expect(pages.filter((page) => !readme.includes(`](hardware-notes/${page}`))).toEqual([]);
    expect(pages.filter((page) => !list.includes(`](${page}`))).toEqual([]);
  });
});
