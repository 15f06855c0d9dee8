// Fails a whole run of the tests if a way that the tables of states allow was taken by none of them (see ways-seen.ts), and names it.
import { mkdirSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import path from 'node:path';
import type { Reporter, TestSpecification, Vitest } from 'vitest/node';
import { TABLES } from '../src/journal/ways.js';

export const WAYS_FOLDER = path.resolve('dist/tests/ways');

/** @returns each way that the tables allow, as ways-seen.ts writes it */
export const allWays = (): string[] =>
  Object.entries(TABLES).flatMap(([table, ways]) =>
    Object.entries(ways).flatMap(([from, tos]) =>
      (tos as readonly string[]).map((to) => `${table}: ${from} -> ${to}`),
    ),
  );

export default class WaysTaken implements Reporter {
  private vitest: Vitest | undefined;
  private isWhole = false;

  onInit(vitest: Vitest): void {
    this.vitest = vitest;
  }

  async onTestRunStart(specifications: readonly TestSpecification[]): Promise<void> {
    rmSync(WAYS_FOLDER, { recursive: true, force: true });
    mkdirSync(WAYS_FOLDER, { recursive: true });
    const all = (await this.vitest?.globTestSpecifications()) ?? [];
    const isNarrowed = this.vitest?.projects.some(
      ({ config }) => config.testNamePattern !== undefined || (config.tagsFilter?.length ?? 0) > 0,
    );
    this.isWhole = specifications.length === all.length && isNarrowed === false;
  }

  onTestRunEnd(): void {
    if (!this.isWhole) return;
    const taken = new Set(
      readdirSync(WAYS_FOLDER).flatMap((file) =>
        readFileSync(path.join(WAYS_FOLDER, file), 'utf8').split('\n'),
      ),
    );
    const all = allWays();
    const left = all.filter((way) => !taken.has(way));
    process.stdout.write(`Ways between states: ${all.length - left.length} of ${all.length} taken\n`);
    if (left.length === 0) return;
    process.exitCode = 1;
    process.stdout.write(`The tables allow these, and no test has taken them:\n  ${left.join('\n  ')}\n`);
  }
}
