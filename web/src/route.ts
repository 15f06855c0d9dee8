// Which page of the panel is shown, kept in the address behind the #: so going back is the browser's own, and
// a set can be opened by a link. Must know nothing of what is on the pages.
import { signal } from '@preact/signals';

export type Route =
  | { readonly name: 'panel' }
  /** The panel with a frame of a ladder at full size over it. */
  | { readonly name: 'rung'; readonly id: string; readonly frame: number }
  /** The request, on a screen that has no room for it beside the bar. */
  | { readonly name: 'form' }
  | { readonly name: 'sets' }
  /** `frame` is the one that is shown at full size. */
  | { readonly name: 'set'; readonly id: string; readonly frame: number | null };

const SET = /^#sets\/([\w-]+)(?:\/(\d{1,3}))?$/;
const RUNG = /^#rungs\/([\w-]+)\/(\d{1,3})$/;

export function routeOf(hash: string): Route {
  const [, id, frame] = SET.exec(hash) ?? [];
  if (id !== undefined) return { name: 'set', id, frame: frame === undefined ? null : Number(frame) };
  const [, ofSet, rung] = RUNG.exec(hash) ?? [];
  if (ofSet !== undefined) return { name: 'rung', id: ofSet, frame: Number(rung) };
  if (hash === '#sets') return { name: 'sets' };
  return hash === '#form' ? { name: 'form' } : { name: 'panel' };
}

export const addressOf = {
  panel: '#',
  form: '#form',
  sets: '#sets',
  set: (id: string) => `#sets/${id}`,
  frame: (id: string, frame: number) => `#sets/${id}/${frame}`,
  rung: (id: string, frame: number) => `#rungs/${id}/${frame}`,
};

export const route = signal(routeOf(location.hash));

addEventListener('hashchange', () => {
  route.value = routeOf(location.hash);
});

/** Marks steps that were made here: from them the way back is one step. */
const OURS = 'evenrung';

/** @param inPlace leaves no step to go back to */
export function goTo(address: string, inPlace = false): void {
  if (inPlace) history.replaceState(history.state, '', address);
  else history.pushState(OURS, '', address);
  route.value = routeOf(location.hash);
}

/** @param address the page to go to, for somebody who came here from elsewhere */
export function goBack(address: string): void {
  if (history.state === OURS) history.back();
  else goTo(address, true);
}
