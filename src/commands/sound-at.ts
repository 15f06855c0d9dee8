// `sound --at ADDRESS`: a daemon that runs there takes the sounding, and it goes by here as if it were taken here.
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import type { SoundingView, WrittenSoundRequest } from '../../shared/sounding.js';
import { DaemonClient } from './elsewhere/daemon-client.js';
import { sessionFor } from './elsewhere/daemon-session.js';
import { onStopSignal } from './process.js';

export interface SoundAt {
  readonly address: string;
  readonly request: WrittenSoundRequest;
  readonly tell: (view: SoundingView) => void;
  /** Called when somebody stops it. */
  readonly stopping: () => void;
}

/**
 * @returns the sounding at its end
 * @throws EvenrungError the daemon's own; daemon-unreachable
 */
export async function soundAt({ address, request, tell, stopping }: SoundAt): Promise<SoundingView> {
  const at = DaemonClient.addressIn(address);
  const daemon = new DaemonClient(at, await sessionFor(at));
  let id: string | null = null;
  let end: SoundingView | null = null;
  const forget = onStopSignal(() => {
    stopping();
    // The sounding may have ended already when this is sent.
    if (id !== null)
      void daemon.press('/api/sound/stop').catch((cause: unknown) => {
        if (asEvenrungError(cause).code === 'daemon-unreachable')
          process.stderr.write('The laptop does not answer, so it could not be told to stop.\n');
      });
  });
  try {
    await daemon.follow(async ({ state: { sounding } }) => {
      // The stream comes first: nothing of the sounding is missed.
      id ??= ((await daemon.press('/api/sound', request)) as { sounding: string }).sounding;
      if (sounding?.id !== id) {
        if (end !== null) throw lostSight();
        return false;
      }
      tell(sounding);
      if (sounding.state === 'firing') return false;
      end = sounding;
      return true;
    });
  } finally {
    forget();
  }
  if (end === null) throw lostSight();
  return end;
}

const lostSight = () =>
  new EvenrungError(
    'daemon-unreachable',
    'The sounding ended while the laptop could not be reached: look in the panel.',
  );
