// `npm run soak -- mutants`: changes the pure rooms in some thousand places, one at a time, and looks whether tests/pure notices. Prints
// what became of the changes, file by file, and each that nobody noticed; ends with 1 where fewer than 85 % were noticed. Works on a copy,
// since the sources are changed where they lie. `mutants exposure judge` tries the files alone that have one of these in their names.
import { spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { ENOUGH_PERCENT, LEFT, MUTATED } from './mutants.js';

/** Of the mutation testing report (its schema is public; only what is read here). */
interface Report {
  readonly files: Readonly<
    Record<
      string,
      {
        /** As it was before any change. */
        readonly source: string;
        readonly mutants: readonly {
          readonly status: string;
          readonly mutatorName: string;
          readonly replacement?: string;
          readonly location: { readonly start: { readonly line: number } };
        }[];
      }
    >
  >;
}

const root = process.cwd();
const asked = process.argv.slice(4);
const copy = mkdtempSync(path.join(os.tmpdir(), 'evenrung-mutants-'));
try {
  for (const name of [
    'src',
    'shared',
    'web',
    'tests',
    'hardware-notes',
    'package.json',
    'tsconfig.json',
    'README.md',
  ])
    cpSync(path.join(root, name), path.join(copy, name), { recursive: true });
  symlinkSync(path.join(root, 'node_modules'), path.join(copy, 'node_modules'));
  const mutate = MUTATED.filter((glob) => asked.length === 0 || asked.some((part) => glob.includes(part)));
  const config = {
    ...{
      testRunner: 'vitest',
      vitest: { configFile: 'tests/mutants.config.ts' },
      plugins: ['@stryker-mutator/vitest-runner'],
    },
    ...{ mutate, inPlace: true, ignoreStatic: true, coverageAnalysis: 'perTest', concurrency: 2 },
    ...{
      reporters: ['json', 'progress-append-only'],
      jsonReporter: { fileName: 'mutants.json' },
      allowEmpty: true,
    },
    // It would ask the compiler for an interface that this one does not have.
    tsconfigFile: 'none.json',
  };
  writeFileSync(path.join(copy, 'stryker.config.json'), JSON.stringify(config));
  const stryker = path.join(root, 'node_modules', '.bin', 'stryker');
  const { status } = spawnSync(stryker, ['run'], { cwd: copy, stdio: 'inherit' });
  const made = path.join(copy, 'mutants.json');
  if (status !== 0 || !existsSync(made)) throw new Error(`It did not come to its end (${status}).`);
  process.exitCode = told(JSON.parse(readFileSync(made, 'utf8')) as Report) ? 0 : 1;
} finally {
  rmSync(copy, { recursive: true, force: true });
}

/** @returns whether enough were noticed */
function told({ files }: Report): boolean {
  const lines: string[] = [];
  const unnoticed: string[] = [];
  const sum = { noticed: 0, survived: 0, uncovered: 0 };
  const line = (name: string, noticed: number, survived: number, uncovered: number) => {
    const all = noticed + survived + uncovered;
    const percent = all === 0 ? 100 : (100 * noticed) / all;
    lines.push(
      `${name.padEnd(34)}${String(noticed).padStart(7)}${String(survived).padStart(10)}${String(uncovered).padStart(13)}${percent.toFixed(1).padStart(8)} %`,
    );
    return percent;
  };
  for (const [file, { mutants, source: whole }] of Object.entries(files)) {
    const count = (...states: string[]) => mutants.filter(({ status }) => states.includes(status)).length;
    const [noticed, survived, uncovered] = [
      count('Killed', 'Timeout'),
      count('Survived'),
      count('NoCoverage'),
    ];
    if (noticed + survived + uncovered === 0) continue;
    line(file, noticed, survived, uncovered);
    sum.noticed += noticed;
    sum.survived += survived;
    sum.uncovered += uncovered;
    const source = whole.split('\n');
    for (const { status, mutatorName, replacement = '', location } of mutants) {
      if (status !== 'Survived' && status !== 'NoCoverage') continue;
      const at = source[location.start.line - 1]?.trim() ?? '';
      const put = replacement.replace(/\s+/g, ' ').slice(0, 60);
      const [left] = LEFT.filter((one) => file.endsWith(`/${one.file}`) && at.includes(one.line))
        .filter((one) => one.put === undefined || put.startsWith(one.put))
        .sort((a, b) => b.line.length - a.line.length);
      const why = left?.why ?? 'NO REASON GIVEN';
      unnoticed.push(
        `${file}:${location.start.line} ${mutatorName}: ${at} => ${put} (${status === 'Survived' ? '' : 'not reached; '}${why})`,
      );
    }
  }
  const percent = line('all', sum.noticed, sum.survived, sum.uncovered);
  console.log(`\nNot noticed:\n${unnoticed.join('\n')}`);
  console.log(
    `\n${'file'.padEnd(34)}${'noticed'.padStart(7)}${'survived'.padStart(10)}${'not reached'.padStart(13)}${'noticed'.padStart(10)}`,
  );
  console.log(lines.join('\n'));
  console.log(`${percent.toFixed(1)} % noticed; ${ENOUGH_PERCENT} % are enough`);
  return percent >= ENOUGH_PERCENT;
}
