// How long room on disk and card and the battery will last for the sets to come. One line as long as all of
// them last; those that do not are listed below it.
import type { Watch, WatchMark } from '../../../shared/watch.js';
import { daemon } from '../store.js';
import { text } from '../text.js';
import { amount, frames, sets } from '../words.js';
import { Fold } from './Fold.js';
import { Mark } from './Mark.js';

const words = text.schedule.left;

const MARKS = { fine: 'fine', low: 'attention', 'too-low': 'stops' } as const;

/** More than a night can take is not told to the last frame. */
const MOST_COUNTED = 9999;

type Item = NonNullable<Watch['disk'] | Watch['card'] | Watch['battery']>;

export function Left() {
  const watch = daemon.value?.watch ?? null;
  if (watch === null) return null;
  const items = (['disk', 'card', 'battery'] as const).flatMap((name) => {
    const item = watch[name];
    return item === null ? [] : [{ name, item }];
  });
  if (items.length === 0) return null;
  const gravest = gravestOf(items.map(({ item }) => item.mark));
  const low = items.filter(({ item }) => item.mark !== 'fine');
  const fine = items.filter(({ item }) => item.mark === 'fine');
  return (
    <section class="readiness left" aria-labelledby="left-heading" data-mark={gravest}>
      <h2 id="left-heading" class="unseen">
        {words.heading}
      </h2>
      <Fold
        line={
          <span class="readiness-line" data-mark={MARKS[gravest]}>
            <Mark of={MARKS[gravest]} />
            <span class="left-line">
              <strong>{words.heading}</strong>{' '}
              {items.map(({ name, item }) => (
                <span key={name} class={item.mark === 'fine' ? 'enough' : 'low'}>
                  {words.what[name]} {shortly(item)}
                </span>
              ))}
            </span>
          </span>
        }
      >
        {fine.length > 0 && <Items of={fine} name={words.enough} />}
      </Fold>
      {low.length > 0 && <Items of={low} name={words.low} />}
    </section>
  );
}

interface ItemsProps {
  readonly of: readonly { readonly name: keyof Watch; readonly item: Item }[];
  readonly name: string;
}

function Items({ of, name }: ItemsProps) {
  return (
    // biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers.
    <ul role="list" class="items" aria-label={name}>
      {of.map(({ name: what, item }) => (
        <li key={what} data-mark={MARKS[item.mark]} data-left={what}>
          <p class="item">
            <Mark of={MARKS[item.mark]} />
            <span>
              <span class="unseen">{words.marks[item.mark]} </span>
              {text.said(item.sentence)}
            </span>
          </p>
        </li>
      ))}
    </ul>
  );
}

function gravestOf(marks: readonly WatchMark[]): WatchMark {
  if (marks.includes('too-low')) return 'too-low';
  return marks.includes('low') ? 'low' : 'fine';
}

/** @returns `64%, 120 frames, 13 sets`, as far as it is told */
function shortly(item: Item): string {
  if (item.framesLeft !== null && item.framesLeft > MOST_COUNTED) return words.over(MOST_COUNTED);
  const told = [
    'percent' in item && item.percent !== null ? words.percent(item.percent) : '',
    item.framesLeft === null ? '' : frames(item.framesLeft),
    item.setsLeft === null ? '' : sets(item.setsLeft),
  ].filter((part) => part !== '');
  if (told.length > 0) return told.join(', ');
  return 'freeBytes' in item ? amount(item.freeBytes, Math.floor) : words.unknown;
}
