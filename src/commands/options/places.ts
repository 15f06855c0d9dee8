// Where things lie on this machine: the folders for state and config (XDG Base Directory Specification), the built panel, the
// notes.
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

/** $XDG_STATE_HOME/evenrung, or ~/.local/state/evenrung. */
export function stateFolder(): string {
  const named = process.env.XDG_STATE_HOME;
  const base = named && path.isAbsolute(named) ? named : path.join(os.homedir(), '.local', 'state');
  return path.join(base, 'evenrung');
}

/** $XDG_CONFIG_HOME/evenrung, or ~/.config/evenrung: the profiles of bodies. */
export function configFolder(): string {
  const named = process.env.XDG_CONFIG_HOME;
  const base = named && path.isAbsolute(named) ? named : path.join(os.homedir(), '.config');
  return path.join(base, 'evenrung');
}

/** Where sets go when nobody says so. */
export const defaultInto = (): string => path.join(os.homedir(), 'evenrung-sets');

/** The panel as the set-up builds it, seen from the compiled program. */
export const panelFolder = (): string => fileURLToPath(new URL('../web', import.meta.url));

/**
 * The folder with README.md and hardware-notes/: the top of the project, relative to the compiled program.
 */
export const notesFolder = (): string => fileURLToPath(new URL('../..', import.meta.url));
