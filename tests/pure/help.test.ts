// The help of the command line: everything stands under a heading, each command has an example that can be typed, and former names of
// commands are not shown.
import type { Command } from 'commander';
import pino from 'pino';
import { describe, expect, it } from 'vitest';
import { parseRunRequest } from '../../shared/run-request.js';
import { writtenRunRequest } from '../../src/commands/options/run-options.js';
import { newProgram } from '../../src/commands/program.js';

const program = () => newProgram(pino({ level: 'silent' })).version('0.0.0');

type Named = readonly [path: string, command: Command];
const all = (command: Command, path: readonly string[] = []): Named[] => [
  [path.join(' '), command],
  ...command.commands.flatMap((child) => all(child, [...path, child.name()])),
];
const COMMANDS = all(program());

/** As `--help` prints it. */
function helpOf(command: Command): string {
  const parts: string[] = [];
  command.configureOutput({ writeOut: (part) => void parts.push(part) }).outputHelp();
  return parts.join('');
}
const helpAt = (path: string): string => {
  const found = COMMANDS.find(([name]) => name === path);
  return found === undefined ? '' : helpOf(found[1]);
};
const headingsIn = (help: string): string[] => help.match(/^[A-Z][^:\n]*:$/gm) ?? [];

/** What stands below a heading. */
const below = (help: string, heading: string): string =>
  help.split(`\n${heading}\n`)[1]?.split('\n\n')[0] ?? '';

/** The words of a line as a shell reads them, quotation marks taken away. */
const wordsOf = (line: string): string[] =>
  [...line.matchAll(/"([^"]*)"|'([^']*)'|(\S+)/g)].map(
    ([, double, single, bare]) => double ?? single ?? bare ?? '',
  );

describe('the help of each command', () => {
  it.each(COMMANDS)('%s: all of it stands under a heading', (_, command) => {
    const headings = headingsIn(helpOf(command));
    expect(headings).not.toContain('Options:');
    expect(headings).not.toContain('Commands:');
    expect(new Set(headings).size).toBe(headings.length);
  });

  it.each(COMMANDS)('%s: one example, which can be typed', async (path, command) => {
    const typed = helpOf(command).match(/^Example \(invented\): .+\n {2}evenrung .+$/gm) ?? [];
    expect(typed).toHaveLength(1);
    const [name, ...words] = wordsOf(typed[0]?.split('\n')[1] ?? '');
    expect(name).toBe('evenrung');
    const idle = program();
    const begun: string[] = [];
    for (const [one, child] of all(idle).slice(1))
      child.action(() => {
        begun.push(one);
        if (one !== 'fire') return;
        const { to, ...others } = child.opts();
        parseRunRequest(
          writtenRunRequest({ ...others, ...(to === undefined ? {} : { to: to.ev }) } as never),
        );
      });
    await idle.parseAsync(['node', 'evenrung', ...words]);
    expect(begun).toHaveLength(1);
    // A group of commands shows one of its own, and the program any.
    expect(begun[0]?.startsWith(path)).toBe(true);
  });

  it('commands are grouped by what is fired, when, from where, and what is kept', () => {
    const help = helpAt('');
    expect(headingsIn(help)).toEqual([
      'Output and alarms:',
      'The set:',
      'When:',
      'Camera and connection:',
      'Saved sets:',
      'More help:',
    ]);
    expect(below(help, 'The set:')).toMatch(/^ {2}plan .*\n {2}fire .*\n {2}sound /);
    expect(below(help, 'Camera and connection:')).toMatch(/^ {2}cameras /m);
  });
});

describe('former names', () => {
  it.each([
    ['', 'cameras', 'bodies'],
    ['run', 'pause', 'hold'],
    ['run', 'resume', 'go-on'],
    ['sets', 'reshoot', 'again'],
    ['devices', 'remove', 'drop'],
  ])('%s %s is shown, and not %s', (group, shown, former) => {
    const name = new RegExp(`(^ {2}|\\|)${former}\\b`, 'm');
    expect(helpAt(group)).toMatch(new RegExp(`^ {2}${shown} `, 'm'));
    expect(helpAt(group)).not.toMatch(name);
    const usage = helpAt(`${group} ${shown}`.trim()).split('\n')[0];
    expect(usage).toContain(`${shown} [options]`);
    expect(usage).not.toContain(former);
  });

  it.each(['run stop', 'run pause', 'run resume', 'sound', 'devices list', 'devices remove', 'devices pair'])(
    '%s shows --at alone',
    (path) => {
      expect(below(helpAt(path), 'Camera and connection:')).toMatch(/^ {2}--at <address> /m);
      expect(helpAt(path)).not.toContain('--to');
    },
  );

  it('fire shows --at for an address, and --to for a frame', () => {
    expect(below(helpAt('fire'), 'Camera and connection:')).toMatch(/^ {2}--at <address> /m);
    expect(below(helpAt('fire'), 'The set:')).toMatch(/^ {2}--to <ev> +brightest frame, such as 4$/m);
  });
});
