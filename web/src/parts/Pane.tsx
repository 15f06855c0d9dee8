// One picture in its part of the screen, laid out by the look; or why there is none.
import { useEffect, useLayoutEffect, useState } from 'preact/hooks';
import { whyNoPicture } from '../api.js';
import { text } from '../text.js';
import { type Box, boxOf, type Look, pointsOf, type Room, type Size } from '../zoom.js';

export type Loading = 'under-way' | 'there' | 'none';

const words = text.viewer;

/** From so many points on, a pixel is shown as what it is, a square. */
const SQUARES_FROM = 2;

interface Props {
  /** Null if there is no file. */
  readonly path: string | null;
  /** The text that is shown then. */
  readonly missing: string;
  readonly alt: string;
  readonly caption: string | null;
  /** Null before it is known how much room there is; so is `room` before it is known how large the picture is. */
  readonly box: Box | null;
  readonly room: Room | null;
  readonly look: Look;
  /** The id of an SVG filter. */
  readonly filter: string | null;
  readonly onLoading: (state: Loading) => void;
  readonly onSize: (size: Size) => void;
}

export function Pane({ path, missing, alt, caption, box, room, look, filter, onLoading, onSize }: Props) {
  const [loading, setLoading] = useState<Loading>('under-way');
  const [why, setWhy] = useState<string | null>(null);
  const [tries, setTries] = useState(0);
  useLayoutEffect(() => onLoading(loading), [loading]);
  useEffect(() => {
    if (path === null || loading !== 'none') return;
    let isWanted = true;
    void whyNoPicture(path).then((told) => {
      if (isWanted) setWhy(told);
    });
    return () => {
      isWanted = false;
    };
  }, [loading]);
  const again = () => {
    setWhy(null);
    setLoading('under-way');
    setTries(tries + 1);
  };
  const isDrawn = loading === 'there' && room !== null && box !== null;
  const lies = isDrawn ? boxOf(look, room) : null;
  return (
    <div class="viewer-pane" data-pane data-loading={loading} style={box === null ? {} : styleOf(box)}>
      {path === null && <p>{missing}</p>}
      {path !== null && loading === 'under-way' && <p class="viewer-wait">{words.loading}</p>}
      {path !== null && loading === 'none' && (
        <div class="viewer-none">
          <p>{why ?? words.none}</p>
          <button type="button" onClick={again}>
            {words.again}
          </button>
        </div>
      )}
      {path !== null && (
        <div class="viewer-clip" style={{ filter: filter === null ? '' : `url(#${filter})` }}>
          <img
            key={tries}
            src={path}
            alt={alt}
            draggable={false}
            hidden={loading === 'none'}
            data-squares={isDrawn && pointsOf(look, room) >= SQUARES_FROM}
            data-drawn={isDrawn}
            style={lies === null ? {} : styleOf(lies)}
            onLoad={({ currentTarget: { naturalWidth: width, naturalHeight: height } }) => {
              onSize({ width, height });
              setLoading('there');
            }}
            onError={() => setLoading('none')}
          />
        </div>
      )}
      {caption !== null && <p class="viewer-caption">{caption}</p>}
    </div>
  );
}

const styleOf = ({ left, top, width, height }: Box) => ({
  left: `${left}px`,
  top: `${top}px`,
  width: `${width}px`,
  height: `${height}px`,
});
