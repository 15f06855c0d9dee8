// What imports what in the program and the panel, from the sources as they are written: no circles, and arrows between rooms that
// point one way (DEVELOPERS.md, Rooms). An import of a type counts as any other.
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';

/** From each file to those that it imports. */
type Imports = ReadonlyMap<string, readonly string[]>;

/** What each room may import, beside itself and shared/. A file that lies in src/ itself is a room of its own. */
const KNOWS: Readonly<Record<string, readonly string[]>> = {
  shared: [],
  'web/src': [],
  'src/exposure': [],
  'src/system': [],
  'src/plan': ['src/exposure'],
  'src/camera': ['src/exposure'],
  'src/frames': ['src/exposure', 'src/system'],
  'src/light': ['src/system'],
  'src/journal': ['src/system'],
  // Learning goes by what the files of a body record.
  'src/bodies': ['src/exposure', 'src/camera', 'src/frames', 'src/system'],
  // Test frames are fired, looked at, and thrown away.
  'src/sounding': ['src/exposure', 'src/plan', 'src/camera', 'src/frames', 'src/light', 'src/bodies'],
  'src/set': [
    'src/exposure',
    'src/plan',
    'src/camera',
    'src/frames',
    'src/light',
    'src/journal',
    'src/system',
  ],
  'src/series': [
    'src/exposure',
    'src/plan',
    'src/camera',
    'src/frames',
    'src/journal',
    'src/bodies',
    'src/set',
    'src/system',
  ],
  'src/station': [
    'src/exposure',
    'src/plan',
    'src/camera',
    'src/frames',
    'src/light',
    'src/journal',
    'src/bodies',
    'src/set',
    'src/series',
    'src/light',
    'src/sounding',
    'src/system',
  ],
  // It plans, lists the sets that are kept and hands out their files by itself; whatever moves the camera goes through the station.
  'src/server': ['src/plan', 'src/frames', 'src/journal', 'src/station', 'src/system'],
  'src/commands': [
    'src/exposure',
    'src/plan',
    'src/camera',
    'src/frames',
    'src/light',
    'src/journal',
    'src/bodies',
    'src/set',
    'src/series',
    'src/station',
    'src/server',
    'src/system',
  ],
  'src/main.ts': ['src/commands'],
  'src/set-up': [],
};

/** Rooms that have no index, because there is nothing to hide in them. */
const OPEN: Readonly<Record<string, string>> = {
  shared: 'schemas and types for everybody, a file for each subject',
  'src/commands': 'a command is loaded when it is called, and no other with it',
};

const files = ['src', 'shared', 'web/src']
  .flatMap((folder) =>
    readdirSync(folder, { recursive: true, encoding: 'utf8' }).map((name) => path.posix.join(folder, name)),
  )
  .filter((file) => /\.tsx?$/.test(file))
  .sort();

const isFile = new Set(files);
/** @returns the paths that a source imports of its own project, as they are written, from the top of the project */
function importedIn(file: string, source: string): string[] {
  const bare = source.replace(/^\s*(?:\/\/|\*|\/\*).*$/gm, '');
  return [...bare.matchAll(/(?:\bfrom|\bimport)\s*\(?\s*['"](\.[^'"]+)['"]/g)].map(([, written = '']) =>
    path.posix.join(path.posix.dirname(file), written),
  );
}

/** @returns the source behind a path that names what it is compiled to; the path itself if it names something else */
const sourceOf = (imported: string): string =>
  [imported.replace(/\.js$/, '.ts'), imported.replace(/\.js$/, '.tsx')].find((file) => isFile.has(file)) ??
  imported;

const imports: Imports = new Map(
  files.map((file) => [file, importedIn(file, readFileSync(file, 'utf8')).map(sourceOf)]),
);

/** @returns the shortest circle that each file is in, once: `a -> b -> a` */
function circlesIn(graph: Imports): string[] {
  const found = new Map<string, string>();
  for (const file of graph.keys()) {
    const circle = wayBack(graph, file);
    if (circle === null) continue;
    const key = [...new Set(circle)].sort().join();
    if (!found.has(key)) found.set(key, circle.join(' -> '));
  }
  return [...found.values()];
}

function wayBack(graph: Imports, start: string): string[] | null {
  const ways: string[][] = [[start]];
  const seen = new Set<string>();
  for (const way of ways) {
    for (const next of graph.get(way.at(-1) ?? '') ?? []) {
      if (next === start) return [...way, next];
      if (seen.has(next)) continue;
      seen.add(next);
      ways.push([...way, next]);
    }
  }
  return null;
}

const roomOf = (file: string): string =>
  /^(?:shared|web\/src|src\/[^/]+)(?=\/|$)/.exec(file)?.[0] ?? path.posix.dirname(file);

const eachImport = (graph: Imports): (readonly [from: string, to: string])[] =>
  [...graph].flatMap(([from, all]) => all.map((to) => [from, to] as const));

/** Only what names the program: its name and version. */
const isPackage = (file: string): boolean => file === 'package.json';

/** @returns the imports that go from a room to one that it must not know */
const wrongArrows = (graph: Imports): string[] =>
  eachImport(graph)
    .filter(([from, to]) => {
      const [room, other] = [roomOf(from), roomOf(to)];
      return room !== other && other !== 'shared' && !isPackage(to) && !KNOWS[room]?.includes(other);
    })
    .map(([from, to]) => `${from} -> ${to}`);

/** @returns the folders around a file that hide what is in them behind an index, the outermost first */
const closedAround = (file: string, hasIndex: (folder: string) => boolean): string[] =>
  file
    .split('/')
    .slice(0, -1)
    .map((_, depth, parts) => parts.slice(0, depth + 1).join('/'))
    .filter((folder) => hasIndex(folder));

/** @returns the imports that reach into a room, or into a folder within one that has an index, past the index */
const reachingIn = (
  graph: Imports,
  hasIndex = (folder: string): boolean => isFile.has(`${folder}/index.ts`),
): string[] =>
  eachImport(graph)
    .filter(([from, to]) =>
      closedAround(to, hasIndex).some(
        (folder) => !from.startsWith(`${folder}/`) && to !== `${folder}/index.ts`,
      ),
    )
    .map(([from, to]) => `${from} -> ${to}`);

/** @returns the folders of the program in which so many files lie, or more: `src/set 32` */
const flat = (all: readonly string[], many: number): string[] => {
  const counts = new Map<string, number>();
  for (const file of all.filter((name) => name.startsWith('src/'))) {
    const folder = path.posix.dirname(file);
    counts.set(folder, (counts.get(folder) ?? 0) + 1);
  }
  return [...counts].filter(([, count]) => count >= many).map(([folder, count]) => `${folder} ${count}`);
};

it('no folder of the program has thirty files lying flat', () => {
  expect(flat(['src/plan/a.ts', 'src/plan/b.ts', 'src/plan/cover/c.ts', 'shared/d.ts'], 2)).toEqual([
    'src/plan 2',
  ]);
  expect(flat(files, 30)).toEqual([]);
});

describe('imports', () => {
  it('are found however they are written, and not in comments', () => {
    const source = `
      import type { A } from './a.js';
      import { type B, b } from '../b.js';
      export * from "./c.js";
      import './d.js';
      const { e } = await import('./e.js');
      let f: import('./f.js').F;
      // import { g } from './g.js';
      /** import { h } from './h.js'; */
      import { i } from 'i';`;
    expect(importedIn('src/plan/x.ts', source)).toEqual(
      ['plan/a', 'b', 'plan/c', 'plan/d', 'plan/e', 'plan/f'].map((name) => `src/${name}.js`),
    );
  });

  it('all lead to a file that is there', () => {
    expect(files.length).toBeGreaterThan(200);
    expect(eachImport(imports).filter(([, to]) => !existsSync(to))).toEqual([]);
  });

  it('make no circle between files', () => {
    const graph = new Map([
      ['a', ['b', 'd']],
      ['b', ['c']],
      ['c', ['a']],
      ['d', ['c']],
      ['e', ['e']],
      ['f', ['a']],
    ]);
    expect(circlesIn(graph)).toEqual(['a -> b -> c -> a', 'd -> c -> a -> d', 'e -> e']);
    expect(circlesIn(imports)).toEqual([]);
  });

  it('go from a room only to those that it may know', () => {
    const graph = new Map([
      ['src/plan/a.ts', ['src/exposure/index.ts', 'shared/a.ts', 'src/set/index.ts']],
      ['shared/a.ts', ['src/plan/index.ts']],
      ['web/src/a.ts', ['src/plan/index.ts', 'shared/a.ts']],
    ]);
    expect(wrongArrows(graph)).toEqual([
      'src/plan/a.ts -> src/set/index.ts',
      'shared/a.ts -> src/plan/index.ts',
      'web/src/a.ts -> src/plan/index.ts',
    ]);
    expect(wrongArrows(imports)).toEqual([]);
  });

  it('reach what another room, or a folder with an index, has to give by its index alone', () => {
    const graph = new Map([
      ['src/plan/a.ts', ['src/exposure/index.ts', 'src/exposure/ev.ts', 'src/plan/cover/rows.ts']],
      ['src/plan/cover/a.ts', ['src/plan/cover/rows.ts', 'src/plan/b.ts']],
    ]);
    const hasIndex = (folder: string) => ['src/exposure', 'src/plan', 'src/plan/cover'].includes(folder);
    expect(reachingIn(graph, hasIndex)).toEqual([
      'src/plan/a.ts -> src/exposure/ev.ts',
      'src/plan/a.ts -> src/plan/cover/rows.ts',
    ]);
    expect(reachingIn(imports)).toEqual([]);
  });

  it('may go anywhere only in rooms that say why they have no index', () => {
    const without = [
      ...new Set(
        eachImport(imports).flatMap(([from, to]) => (roomOf(from) === roomOf(to) ? [] : [roomOf(to)])),
      ),
    ]
      .filter((room) => room.includes('/') || room === 'shared')
      .filter((room) => !isFile.has(`${room}/index.ts`));
    expect(without.sort()).toEqual(Object.keys(OPEN).sort());
  });
});
