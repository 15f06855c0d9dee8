// Ends every test run with one plain line, and lets no skipped test pass unseen.
import type { Reporter, TestModule } from 'vitest/node';

export default class ClosingLine implements Reporter {
  onTestRunEnd(modules: readonly TestModule[]): void {
    const states = modules.flatMap((module) =>
      [...module.children.allTests()].map((test) => test.result().state),
    );
    const count = (state: string) => states.filter((candidate) => candidate === state).length;
    const notRun = count('skipped') + count('pending');
    if (notRun > 0) {
      process.exitCode = 1;
      process.stdout.write(`Tests were skipped: ${notRun}. Every test runs, or the run fails.\n`);
    }
    process.stdout.write(`Tests: ${count('passed')} passed, ${count('failed')} failed, ${notRun} skipped\n`);
  }
}
