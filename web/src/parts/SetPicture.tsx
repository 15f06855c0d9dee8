// The picture of a set as a whole: while it is made, how much of the scene it holds; then what it can become,
// with the map a press away. Its room is there from the beginning, so that nothing moves when it comes.
// Pressed, it fills the screen.
import { useEffect, useRef, useState } from 'preact/hooks';
import type { LightView } from '../../../shared/light.js';
import { bringIntoSight } from '../follow.js';
import { text } from '../text.js';

const words = text.setLight;

/** Addresses; null if there is none. */
export interface Pictures {
  /** The map of what the set holds. */
  readonly map: string | null;
  /** The picture of what it can become. */
  readonly proof: string | null;
}

interface Props extends Pictures {
  readonly light: LightView | null;
  /** Whether more is still to come. */
  readonly isAwaited: boolean;
  /** Whether somebody has waited for the proof here: then it is brought into sight. */
  readonly isFollowed?: boolean;
}

export function SetPicture({ map, proof, light, isAwaited, isFollowed = false }: Props) {
  const [wantsMap, setWantsMap] = useState(false);
  const section = useRef<HTMLElement>(null);
  const before = useRef(proof);
  useEffect(() => {
    // A set that was taken up again has another one: that comes first once more.
    if (before.current === null) setWantsMap(false);
    if (before.current === null && proof !== null && isFollowed) bringIntoSight(section.current);
    before.current = proof;
  }, [proof]);
  const isMap = proof === null || (wantsMap && map !== null);
  const path = isMap ? map : proof;
  const sentence = light === null ? (isAwaited ? words.toCome : words.none) : text.said(light.sentence);
  const aboutProof =
    light?.proof == null ? (isAwaited ? words.proofToCome : null) : text.said(light.proof.sentence);
  // The reason is shown even if there is no picture.
  const isProofSaid = !isMap || (proof === null && light?.proof != null);
  return (
    <section class="set-picture" ref={section} aria-label={words.heading}>
      {/* An element whose width is queried cannot lay itself out by the result. */}
      <div class="set-picture-in">
        <Large
          path={path}
          alt={isMap ? words.heldOf(sentence) : (aboutProof ?? '')}
          about={isMap ? sentence : (aboutProof ?? '')}
          isMap={isMap}
        />
        <p class="set-picture-sentence">{sentence}</p>
        <div class="set-picture-foot">
          <div class="set-picture-about">
            <Legend isSeen={isMap && light !== null && light.map > 0} />
            {aboutProof !== null && (
              <p class="soft" data-seen={isProofSaid}>
                {aboutProof}
              </p>
            )}
          </div>
          {(isAwaited || (proof !== null && map !== null)) && (
            <button
              type="button"
              aria-pressed={isMap}
              data-seen={proof !== null && map !== null}
              disabled={proof === null || map === null}
              onClick={() => setWantsMap(!wantsMap)}
            >
              {words.held}
            </button>
          )}
        </div>
      </div>
    </section>
  );
}

/** In words: colours are not told apart by everybody, nor by night. */
function Legend({ isSeen }: { readonly isSeen: boolean }) {
  return (
    <ul class="map-legend soft" data-seen={isSeen}>
      {(['none', 'one', 'more'] as const).map((kind) => (
        <li key={kind}>
          <span class="map-sign" data-kind={kind} aria-hidden="true" />
          {words.legend[kind]}
        </li>
      ))}
    </ul>
  );
}

interface LargeProps {
  readonly path: string | null;
  readonly alt: string;
  /** The text that goes with it. */
  readonly about: string;
  readonly isMap: boolean;
}

function Large({ path, alt, about, isMap }: LargeProps) {
  const [broken, setBroken] = useState<string | null>(null);
  const [isOpen, setIsOpen] = useState(false);
  if (path === null || path === broken)
    return <p class="set-picture-room">{path === null ? null : words.notThere}</p>;
  return (
    <>
      <button type="button" class="set-picture-room" onClick={() => setIsOpen(true)}>
        {/* The one before stays until the next one is there: no key. */}
        <img src={path} alt={alt} data-map={isMap} onError={() => setBroken(path)} />
        <span class="unseen">{isMap ? words.enlarge.map : words.enlarge.proof}</span>
      </button>
      {isOpen && <Enlarged {...{ path, alt, about, isMap }} onClose={() => setIsOpen(false)} />}
    </>
  );
}

interface EnlargedProps extends Pick<LargeProps, 'alt' | 'about' | 'isMap'> {
  readonly path: string;
  readonly onClose: () => void;
}

function Enlarged({ path, alt, about, isMap, onClose }: EnlargedProps) {
  const dialog = useRef<HTMLDialogElement>(null);
  useEffect(() => dialog.current?.showModal(), []);
  return (
    <dialog class="enlarged" ref={dialog} aria-label={isMap ? words.held : words.proof} onClose={onClose}>
      <img src={path} alt={alt} data-map={isMap} />
      <div class="enlarged-foot">
        <div>
          <p>{about}</p>
          {isMap && <Legend isSeen />}
        </div>
        <button type="button" onClick={() => dialog.current?.close()}>
          {words.close}
        </button>
      </div>
    </dialog>
  );
}
