// What is left for the sets to come: room on disk and card, charge. One line as long as it lasts; open where it does not.
import type { Watch, WatchMark } from '../../../shared/watch.js';
import { daemon } from '../store.js';
import { text } from '../text.js';
import { frames, sets } from '../words.js';
import { Fold } from './Fold.js';
import { Mark } from './Mark.js';

const words = text.schedule.left;

const MARKS = { fine: 'fine', low: 'attention', 'too-low': 'stops' } as const;

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
                <span key={name} class={item.mark === 'fine' ? 'soft' : 'low'}>
                  {words.what[name]} {shortly(item)}
                </span>
              ))}
            </span>
          </span>
        }
        mustBeSeen={gravest !== 'fine'}
      >
        {/* biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers. */}
        <ul role="list" class="items" aria-label={words.heading}>
          {items.map(({ name, item }) => (
            <li key={name} data-mark={MARKS[item.mark]} data-left={name}>
              <p class="item">
                <Mark of={MARKS[item.mark]} />
                <span>
                  <span class="unseen">{words.marks[item.mark]} </span>
                  {text.together(item.sentence)}
                </span>
              </p>
            </li>
          ))}
        </ul>
      </Fold>
    </section>
  );
}

function gravestOf(marks: readonly WatchMark[]): WatchMark {
  if (marks.includes('too-low')) return 'too-low';
  return marks.includes('low') ? 'low' : 'fine';
}

/** @returns `64 %, 120 frames, 13 sets`, as far as it is told */
function shortly(item: Item): string {
  const told = [
    'percent' in item && item.percent !== null ? words.percent(item.percent) : '',
    item.framesLeft === null ? '' : words.some(item.framesLeft, frames),
    item.setsLeft === null ? '' : words.some(item.setsLeft, sets),
  ].filter((part) => part !== '');
  return told.length === 0 ? words.unknown : told.join(', ');
}
