// How one event changes what everyone sees. The daemon and the panel fold the same events with the same function, so that
// they cannot come to different pictures. Apart from the schemas, so that the panel need not carry those.
import type { DaemonState, Happening, LineSet, RunState, RunView } from './state.js';

export const ENDED: ReadonlySet<RunState> = new Set<RunState>(['complete', 'stopped', 'halted']);

/** How many sets of a time line are in the state: the journal has all of them. */
export const LINE_SETS = 500;

export const NOTHING_YET: DaemonState = {
  body: { state: 'looking' },
  run: null,
  schedule: null,
  line: [],
  watch: null,
  unfinished: null,
  asked: null,
  sounding: null,
};

/** @returns the state after this has happened; the one given is left as it is */
export function afterHappening(state: DaemonState, happening: Happening): DaemonState {
  switch (happening.type) {
    case 'body':
      return { ...state, body: happening.body };
    case 'unfinished':
      return { ...state, unfinished: happening.unfinished };
    case 'asked':
      return { ...state, asked: happening.asked };
    case 'schedule': {
      const isSame = happening.schedule?.run === state.schedule?.run;
      return { ...state, schedule: happening.schedule, line: isSame ? state.line : [] };
    }
    case 'line-set':
      if (state.schedule?.run !== happening.run) return state;
      return { ...state, line: lineAfter(state.line, happening.set) };
    case 'watch':
      return { ...state, watch: happening.watch };
    case 'sounding':
      return { ...state, sounding: happening.sounding };
    case 'run':
      return { ...state, run: happening.run };
    case 'run-state':
    case 'pass':
    case 'frame':
    case 'trouble':
    case 'note':
    case 'light':
      if (state.run === null || state.run.id !== happening.run) return state;
      return { ...state, run: runAfter(state.run, happening) };
  }
}

function lineAfter(line: readonly LineSet[], set: LineSet): LineSet[] {
  const index = line.findIndex((old) => old.set === set.set);
  return index === -1 ? [...line, set].slice(-LINE_SETS) : line.with(index, set);
}

type OfRun = Extract<Happening, { type: 'run-state' | 'pass' | 'frame' | 'trouble' | 'note' | 'light' }>;

function runAfter(run: RunView, happening: OfRun): RunView {
  switch (happening.type) {
    case 'run-state': {
      const { state, sentence, error, folder, endedAt } = happening;
      // Whatever kept it from going on, nothing more is tried.
      const trouble = ENDED.has(state) ? null : run.trouble;
      return { ...run, state, trouble, sentence, error, folder, endedAt };
    }
    case 'pass':
      return {
        ...run,
        passes: run.passes.map((old, index) => (index + 1 === happening.pass ? happening.state : old)),
      };
    case 'trouble':
      return { ...run, trouble: happening.trouble };
    case 'note':
      return { ...run, notes: [...run.notes, happening.note] };
    case 'light':
      return happening.set === run.set.id ? { ...run, light: happening.light } : run;
    case 'frame':
      return {
        ...run,
        frames: run.frames.map((old) => (old.number === happening.frame.number ? happening.frame : old)),
      };
  }
}
