// `devices`: the phones and other devices that are paired with the daemon on this computer: list, remove, pair. It asks the daemon over
// its own door, and knows nothing of how that keeps them.
import { type Command, InvalidArgumentError, Option } from 'commander';
import { z } from 'zod';
import { type Device, type deviceSchema, devicesSchema, pairingSchema } from '../../shared/access.js';
import { errorCodeSchema } from '../../shared/error-codes.js';
import { EvenrungError } from '../../shared/errors.js';
import { shortened } from '../../shared/plain-words.js';
import { whoOwns } from '../system/index.js';
import { hasColours, pairingWords } from './lan.js';
import { type AtOptions, addAtOption, addressIn } from './options/daemon-at.js';
import { stateFolder } from './options/places.js';

interface DevicesOptions extends AtOptions {
  readonly json?: boolean;
}

const ANSWER_MS = 10_000;
const refusalSchema = z.object({
  error: z.looseObject({ code: errorCodeSchema, message: z.string() }),
});

export function addDevices(program: Command): void {
  const devices = program.command('devices').description('list the phones and other devices that are paired');
  const shared = (command: Command) =>
    addAtOption(
      command,
      'the Evenrung on this computer, if it is not the one of this state folder',
      loopback,
    ).option('--json', 'print JSON');
  shared(devices.command('list', { isDefault: true }).description('list the devices that are paired')).action(
    async ({ json, ...where }: DevicesOptions) => {
      const { devices: paired, network } = devicesSchema.parse(
        await ask('GET', '/api/devices', addressIn(where)),
      );
      if (json === true) for (const device of paired) print(JSON.stringify(device));
      else if (paired.length > 0) for (const device of paired) print(lineOf(device));
      else
        print(
          network === null
            ? 'No device is paired. To pair one, start Evenrung with --lan.'
            : 'No device is paired.',
        );
    },
  );
  shared(
    devices
      .command('remove')
      .alias('drop')
      .description('unpair a device')
      .argument('<id>', 'its id, or the beginning of it'),
  ).action(async (id: string, { json, ...where }: DevicesOptions) => {
    const at = addressIn(where);
    const device = oneOf(devicesSchema.parse(await ask('GET', '/api/devices', at)).devices, id);
    await ask('DELETE', `/api/devices/${encodeURIComponent(device.id)}`, at);
    print(json === true ? JSON.stringify(device) : `Removed: ${device.name}.`);
  });
  shared(
    devices
      .command('pair')
      .description('show a new code, good for one device')
      .addOption(
        new Option('--role <role>', 'what the device may do').choices(['fire', 'watch']).default('fire'),
      ),
  ).action(async ({ json, role, ...where }: DevicesOptions & { readonly role: string }) => {
    const pairing = pairingSchema.parse(
      await ask('POST', '/api/devices/pairing', addressIn(where), { role }),
    );
    if (json === true) print(JSON.stringify(pairing));
    else {
      const { link, expiresAt, fingerprint } = pairing;
      const colours = process.stdout.isTTY === true && hasColours();
      process.stdout.write(await pairingWords(link, new Date(expiresAt), fingerprint, colours));
    }
  });
}

const print = (line: string): void => void process.stdout.write(`${line}\n`);

const lineOf = ({ id, name, role, lastSeen }: Device): string =>
  `${id.slice(0, 8)}  ${role === 'fire' ? 'fires  ' : 'watches'}  last seen ${lastSeen.slice(0, 16).replace('T', ' ')} UTC  ${name}`;

/** @throws EvenrungError no-such-device */
function oneOf(devices: readonly z.infer<typeof deviceSchema>[], beginning: string): Device {
  const found = devices.filter(({ id }) => id.startsWith(beginning.toLowerCase()));
  const [only] = found;
  if (only !== undefined && found.length === 1) return only;
  throw new EvenrungError(
    'no-such-device',
    found.length === 0
      ? `No paired device has an id that begins with '${shortened(beginning)}'.`
      : `'${shortened(beginning)}' stands for ${found.length} devices: give more of the id.`,
  );
}

/** @throws EvenrungError no-daemon, and whatever the daemon refuses */
async function ask(method: string, route: string, at: string | undefined, json?: unknown): Promise<unknown> {
  const address = at ?? (await whoOwns(stateFolder()))?.address ?? null;
  if (address === null)
    throw new EvenrungError('no-daemon', 'Evenrung is not running here: start it first (npm start).');
  let answer: Response;
  let body: unknown;
  try {
    answer = await fetch(new URL(route, address), {
      method,
      signal: AbortSignal.timeout(ANSWER_MS),
      ...(json === undefined
        ? {}
        : { headers: { 'content-type': 'application/json' }, body: JSON.stringify(json) }),
    });
    body = await answer.json();
  } catch {
    throw new EvenrungError('no-daemon', `Evenrung at ${address} does not answer.`);
  }
  if (answer.ok) return body;
  const refusal = refusalSchema.safeParse(body);
  if (refusal.success) throw new EvenrungError(refusal.data.error.code, refusal.data.error.message);
  throw new EvenrungError('no-daemon', `Another program, or another Evenrung, answers at ${address}.`);
}

/** Devices are a matter of this computer alone. */
function loopback(text: string): string {
  const url = URL.canParse(text) ? new URL(text) : null;
  if (url?.protocol === 'http:' && ['127.0.0.1', 'localhost', '[::1]'].includes(url.hostname))
    return url.origin;
  throw new InvalidArgumentError('give an address of this computer, such as http://127.0.0.1:4160.');
}
