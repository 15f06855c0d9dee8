// What the bench `wire` compares with: the shutter set and a frame fired, one after another, by the bare binding and nothing
// else. In a process of its own, as the binding wants it.
import path from 'node:path';
import { loadBinding, type NativeCamera, promised } from '../../src/camera/binding/binding.js';
import type { BareFired, BareOrder, BareReady, Failed } from './wire-messages.js';

async function open(): Promise<NativeCamera> {
  const { GPhoto2 } = await loadBinding();
  const [camera] = await new Promise<readonly NativeCamera[]>((resolve) => new GPhoto2().list(resolve));
  if (camera === undefined) throw new Error('There is no camera.');
  // Opens it: a daemon has met its body too before a set begins.
  await promised<unknown>((callback) => camera.getConfig(callback));
  return camera;
}

async function fire(camera: NativeCamera, { setting, labels, into }: BareOrder): Promise<number> {
  const targetPath = path.join(into, 'frame.XXXXXX');
  const began = performance.now();
  for (const label of labels) {
    await promised<undefined>((callback) => camera.setConfigValue(setting, label, callback));
    await promised<string>((callback) =>
      camera.takePicture({ download: true, keep: true, targetPath }, callback),
    );
  }
  return (performance.now() - began) / 1000;
}

const say = (answer: BareReady | BareFired | Failed) => process.send?.(answer);

/** Never let go of: a camera object is collected at the end of the process or not at all. */
const camera = await open();
process.on('message', (order: BareOrder) => {
  fire(camera, order).then(
    (seconds) => say({ type: 'fired', seconds }),
    (cause: unknown) => say({ type: 'failed', message: String(cause) }),
  );
});
process.on('disconnect', () => process.kill(process.pid, 'SIGKILL'));
say({ type: 'ready' });
