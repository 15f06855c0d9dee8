// Which body is there, what it can do, and what to do if there is none.
import { useRef } from 'preact/hooks';
import type { AttachedBody, BodyView } from '../../../shared/state.js';
import { mayFire } from '../access.js';
import { bracketsOf } from '../brackets.js';
import { busy, daemon, look, refusedAction, view } from '../store.js';
import { text } from '../text.js';
import { Fold } from './Fold.js';
import { More, PageOn, Refused } from './More.js';

export function Body() {
  const section = useRef<HTMLElement>(null);
  const found = daemon.value?.body;
  if (found === undefined) return null;
  const practice = found.state === 'ready' && found.body.link === 'practice';
  // The buttons vanish with the choice, so the focus moves to the place of its result.
  const choose = (camera: string) => {
    void look(camera);
    section.current?.focus({ preventScroll: true });
  };
  return (
    <section
      class="body"
      data-state={found.state}
      data-practice={practice}
      aria-label={text.body.heading}
      tabIndex={-1}
      ref={section}
    >
      {found.state === 'looking' && (
        <p class="looking" role="status">
          <span class="looking-mark" aria-hidden="true" />
          <strong>{text.body.looking}</strong>
        </p>
      )}
      {found.state === 'absent' && (
        <div>
          <strong id="body-absent">{found.choices.length > 0 ? text.body.choose : text.body.absent}</strong>
          <p>{text.said(found.sentence)}</p>
          {found.next !== null && <p>{found.next}</p>}
          <More about={found.error} />
        </div>
      )}
      {found.state === 'absent' && found.choices.length > 0 && <Choices of={found.choices} choose={choose} />}
      {found.state === 'ready' && <Found body={found.body} note={found.note} />}
      {found.state !== 'ready' && <LookAgain looking={found.state === 'looking'} />}
    </section>
  );
}

interface ChoicesProps {
  readonly of: readonly AttachedBody[];
  readonly choose: (camera: string) => void;
}

function Choices({ of, choose }: ChoicesProps) {
  if (view.value.name === 'running' || !mayFire.value) return null;
  return (
    // biome-ignore lint/a11y/noRedundantRoles: a list without bullets is no list to some screen readers.
    <ul role="list" class="choices" aria-labelledby="body-absent">
      {of.map(({ model, serial }, index) => (
        <li key={`${index} ${model} ${serial}`}>
          <button type="button" disabled={busy.value !== null} onClick={() => choose(serial ?? model)}>
            {text.body.use(model, serial)}
          </button>
        </li>
      ))}
    </ul>
  );
}

function Found({ body, note }: { readonly body: BodyView; readonly note: string | null }) {
  const settings = text.body.settings(body.aperture, body.iso);
  const isPractice = body.link === 'practice';
  const serial = body.serial === null || isPractice ? '' : text.body.serial(body.serial);
  const more = [settings, serial].filter((part) => part !== '');
  return (
    <>
      <Fold
        line={
          <span class="body-line">
            <strong>{isPractice ? text.body.practice : body.model}</strong>
            {more.length > 0 && <span class="soft">{more.join(', ')}</span>}
            <span class="body-about">{text.body.about}</span>
          </span>
        }
      >
        {isPractice && <p>{text.body.practiceMore}</p>}
        {isPractice && note !== null && <p>{text.said(note)}</p>}
        <About body={body} />
        <PageOn page="real-camera" />
        <LookAgain looking={false} />
      </Fold>
      {!isPractice && note !== null && <p>{text.said(note)}</p>}
    </>
  );
}

function About({ body }: { readonly body: BodyView }) {
  const { learn } = text.body;
  return (
    <div class="about">
      <p>{text.said(text.body.brackets(bracketsOf(body)))}</p>
      {body.oneRelease && <p>{text.body.oneRelease(body.timing.apart?.mostInOneGo ?? null)}</p>}
      <p>{text.body.longest(body.longestSeconds)}</p>
      <p>{text.body.timing(body.timing)}</p>
      <p>
        {text.body.knownFrom[body.profile]}
        {body.profile !== 'learnt' && (
          <>
            {' '}
            {learn.before} <code>{learn.command}</code>
            {learn.after}
          </>
        )}
      </p>
    </div>
  );
}

function LookAgain({ looking }: { readonly looking: boolean }) {
  if (view.value.name === 'running' || !mayFire.value) return null;
  const refused = refusedAction.value?.action === 'look' ? refusedAction.value.refusal : null;
  return (
    <>
      <button
        type="button"
        class="look"
        disabled={looking || busy.value !== null}
        onClick={() => void look()}
      >
        {text.body.lookAgain}
      </button>
      <Refused refusal={refused} />
    </>
  );
}
