// A process that takes a state folder and keeps it until it is killed, or until its input ends: then it lets go and goes on living.
// `node owner-holder.js STATE-FOLDER WHAT [ADDRESS]`. With --expose-gc nothing refers to it any more, and memory is tidied up.
import { asEvenrungError } from '../../shared/errors.js';
import { Owner } from '../../src/system/owner.js';

const [stateFolder = '', what = '', address] = process.argv.slice(2);
const began = performance.now();
try {
  if (globalThis.gc !== undefined) {
    await Owner.take(stateFolder, { what, address });
    for (let time = 0; time < 5; time += 1) {
      await new Promise((resolve) => setTimeout(resolve, 10));
      globalThis.gc();
    }
  } else {
    const owner = await Owner.take(stateFolder, { what, address });
    process.stdin.on('end', async () => {
      await owner.release();
      process.stdout.write('released\n');
    });
  }
  process.stdout.write('taken\n');
  process.stdin.resume();
  setInterval(() => undefined, 1000);
} catch (cause) {
  const took = performance.now() - began;
  process.stdout.write(`${JSON.stringify({ ...asEvenrungError(cause).toWire().error, took })}\n`);
}
