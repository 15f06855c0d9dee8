// Decides who is let in at all doors: paired devices, codes that pair, wrong tries. It knows no requests,
// only addresses, secrets and the time.
import type { FastifyBaseLogger } from 'fastify';
import type { Device, PairRequest, Role } from '../../../shared/access.js';
import { EvenrungError } from '../../../shared/errors.js';
import { Devices } from './devices.js';
import { BURNT_AFTER, type Pairing, Pairings } from './pairing.js';
import { Throttle } from './throttle.js';
import type { Visitor } from './visitor.js';

export interface AccessOptions {
  readonly stateFolder: string;
  readonly log: Pick<FastifyBaseLogger, 'info' | 'warn'>;
  /** Milliseconds since 1970; the computer's clock if it is left out. */
  readonly now?: (() => number) | undefined;
}

export class Access {
  private readonly devices: Devices;
  private readonly pairings = new Pairings();
  private readonly throttle = new Throttle();
  private readonly options: AccessOptions;
  private readonly dropped = new Set<(device: string) => void>();

  /** @throws EvenrungError state-not-writable */
  static async open(options: AccessOptions): Promise<Access> {
    const { stateFolder, log, now = Date.now } = options;
    return new Access(options, await Devices.open(stateFolder, now(), (line) => log.warn(line)));
  }

  private constructor(options: AccessOptions, devices: Devices) {
    this.options = options;
    this.devices = devices;
  }

  /**
   * @param token the content of a cookie
   * @returns null for a stranger
   */
  visitor(token: string): Visitor | null {
    return this.devices.visitor(token, this.now());
  }

  list(): Device[] {
    return this.devices.list(this.now());
  }

  /** @returns a code that pairs one device */
  begin(role: Role): Pairing {
    return this.pairings.begin(role, this.now());
  }

  /** @throws EvenrungError pairing-refused if it is not open any more */
  pairing(id: string): Pairing {
    const found = this.pairings.withId(id, this.now());
    if (found === null) throw refused();
    return found;
  }

  /**
   * @param address of the client, as addressOf() returns it
   * @param before the device that the client was until now, which the new one replaces
   * @throws EvenrungError too-many-tries, pairing-refused, state-not-writable
   */
  async pair(
    { secret, name }: PairRequest,
    address: string,
    before: string | null,
  ): Promise<{ readonly device: Device; readonly token: string }> {
    const { log } = this.options;
    const now = this.now();
    const seconds = Math.ceil(this.throttle.waitMs(address, now) / 1000);
    if (seconds > 0) {
      throw new EvenrungError(
        'too-many-tries',
        `A wrong pairing code was tried: wait ${seconds} s, then try again.`,
        { waitSeconds: seconds },
      );
    }
    const pairing = this.pairings.take(secret, now);
    if (pairing === null) {
      const { here, inAll } = this.throttle.wrong(address, now);
      log.warn({ address, here, inAll }, `A wrong pairing code was tried: ${inAll} so far.`);
      if (this.pairings.wrongTries === BURNT_AFTER)
        log.warn(`${BURNT_AFTER} wrong pairing codes: all open codes are cancelled.`);
      throw refused();
    }
    this.throttle.right(address);
    try {
      const added = await this.devices.add(name, pairing.role, now);
      if (before !== null) await this.drop(before);
      log.info(
        { device: added.device.id },
        `Paired: ${name} (${pairing.role === 'fire' ? 'may fire' : 'watches'}).`,
      );
      return added;
    } catch (cause) {
      this.pairings.giveBack(pairing);
      throw cause;
    }
  }

  /** @throws EvenrungError no-such-device, state-not-writable */
  async drop(id: string): Promise<void> {
    try {
      if (!(await this.devices.drop(id)))
        throw new EvenrungError('no-such-device', 'No such device is paired.');
    } finally {
      // Even if that could not be written.
      for (const tell of this.dropped) tell(id);
    }
  }

  /** Calls back with the id of each device that is dropped, at once. */
  onDropped(tell: (device: string) => void): void {
    this.dropped.add(tell);
  }

  close(): Promise<void> {
    return this.devices.settled(this.now());
  }

  private now(): number {
    return (this.options.now ?? Date.now)();
  }
}

const refused = (): EvenrungError =>
  new EvenrungError(
    'pairing-refused',
    'This pairing code is used, expired or wrong. Get a new one on the laptop.',
  );
