// The body's end of the virtual USB port: takes the requests of virtual-usb-port.c off a Unix socket and gives it a bulk-in,
// a bulk-out and an interrupt endpoint. It moves containers and knows nothing of what they say.
import { rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server, type Socket } from 'node:net';
import { type Container, packContainer, unpackContainer } from './containers.js';

const REQUEST_HEAD = 9;
const BULK_OUT = 1;
const BULK_IN = 2;
const INTERRUPT_IN = 3;

/** The result code of libgphoto2 for a wait that ran out. */
const TIMED_OUT = -10;

export interface UsbDevice {
  /**
   * A container came in. The device answers with containers for the bulk-in endpoint, when it has them; with none where
   * there is nothing to say yet. A promise that never settles is a device that hangs.
   */
  receive(container: Container): Promise<readonly Container[]>;
  /** The port was opened anew: what was under way is void. */
  reopened(): void;
  /** The cable is out. */
  unplugged(): void;
}

interface Reader {
  readonly size: number;
  readonly give: (bytes: Buffer) => void;
}

export class VirtualUsb {
  readonly path: string;
  /**
   * How fast the bulk-in endpoint sends, from the first read of a container on; infinite at first. An initiator that reads late
   * does not slow the line down.
   */
  bytesPerSecond = Number.POSITIVE_INFINITY;
  /** What becomes of a container on its way to the computer: whoever damages the line puts something else here. */
  onTheLine: (packed: Buffer, container: Container) => Buffer = (packed) => packed;
  private readonly device: UsbDevice;
  private readonly sockets = new Set<Socket>();
  private readonly events: Buffer[] = [];
  private server: Server | undefined;
  /** Reads of the interrupt endpoint that wait for an event, the first come first. */
  private readonly listeners = new Set<() => void>();

  constructor(path: string, device: UsbDevice) {
    this.path = path;
    this.device = device;
  }

  plug(): Promise<void> {
    rmSync(this.path, { force: true });
    const server = createServer((socket) => this.serve(socket));
    this.server = server;
    return new Promise((resolve, reject) => {
      server.once('error', reject);
      server.listen(this.path, resolve);
    });
  }

  /** Whether a computer has the body open. */
  get connected(): boolean {
    return this.sockets.size > 0;
  }

  /** The cable is pulled: whatever is under way breaks, and nobody finds the body any more. */
  async unplug(): Promise<void> {
    const server = this.server;
    this.server = undefined;
    this.events.length = 0;
    this.device.unplugged();
    for (const socket of this.sockets) socket.destroy();
    if (server !== undefined) await new Promise((resolve) => server.close(resolve));
  }

  /**
   * Whoever opens the port from now on is turned away, although the body is found.
   * @param result of libgphoto2, such as -53 (another program holds it) or -7 (this user may not); null opens it again
   */
  refuse(result: number | null): void {
    const file = `${this.path}.refused`;
    if (result === null) rmSync(file, { force: true });
    else writeFileSync(file, `${result}\n`);
  }

  /** Queues an event for the interrupt endpoint. */
  tell(event: Container): void {
    this.events.push(packContainer(event));
    const [first] = this.listeners;
    first?.();
  }

  private serve(socket: Socket): void {
    this.sockets.add(socket);
    socket.on('close', () => this.sockets.delete(socket));
    // A port that goes away in the middle of something is nothing to report.
    socket.on('error', () => undefined);

    const outgoing: Buffer[] = [];
    let requests: Buffer = Buffer.alloc(0);
    let written: Buffer = Buffer.alloc(0);
    let reader: Reader | undefined;
    /** What was given of the container at the front, and when the first of it was asked for. */
    let front = { bytes: 0, since: 0 };

    const reply = (status: number, bytes: Buffer = Buffer.alloc(0)) => {
      const head = Buffer.alloc(8);
      head.writeInt32LE(status, 0);
      head.writeUInt32LE(bytes.length, 4);
      socket.write(Buffer.concat([head, bytes]));
    };

    // One read gives bytes of one container only, as one transfer over USB does.
    const feedReader = () => {
      const container = outgoing[0];
      if (reader === undefined || container === undefined) return;
      const piece = container.subarray(0, reader.size);
      if (front.bytes === 0) front.since = performance.now();
      front.bytes += piece.length;
      const due = front.since + (front.bytes / this.bytesPerSecond) * 1000;
      if (piece.length === container.length) {
        outgoing.shift();
        front = { bytes: 0, since: 0 };
      } else {
        outgoing[0] = container.subarray(piece.length);
      }
      const { give } = reader;
      reader = undefined;
      const wait = due - performance.now();
      if (wait > 0) setTimeout(give, wait, piece);
      else give(piece);
    };

    const takeWritten = (bytes: Buffer) => {
      written = Buffer.concat([written, bytes]);
      for (let next = unpackContainer(written); next !== undefined; next = unpackContainer(written)) {
        written = next.rest;
        void this.device.receive(next.container).then((answers) => {
          outgoing.push(...answers.map((answer) => this.onTheLine(packContainer(answer), answer)));
          feedReader();
        });
      }
    };

    const handle = (operation: number, argument: number, bytes: Buffer) => {
      switch (operation) {
        case BULK_OUT:
          takeWritten(bytes);
          reply(bytes.length);
          return;
        case BULK_IN:
          // No deadline here: the port has its own.
          reader = { size: argument, give: (piece) => reply(piece.length, piece) };
          feedReader();
          return;
        case INTERRUPT_IN:
          void this.nextEvent(argument, socket).then((event) =>
            event === undefined ? reply(TIMED_OUT) : reply(event.length, event),
          );
          return;
        default:
          throw new Error(`The port asked for the unknown operation ${operation}.`);
      }
    };

    this.device.reopened();
    socket.on('data', (bytes) => {
      requests = Buffer.concat([requests, bytes]);
      while (requests.length >= REQUEST_HEAD) {
        const length = requests.readUInt32LE(5);
        if (requests.length < REQUEST_HEAD + length) return;
        const body = requests.subarray(REQUEST_HEAD, REQUEST_HEAD + length);
        const operation = requests.readUInt8(0);
        const argument = requests.readUInt32LE(1);
        requests = requests.subarray(REQUEST_HEAD + length);
        handle(operation, argument, body);
      }
    });
  }

  /** @returns undefined if none came in time, or if whoever asked is gone: what comes then is for the next one who asks */
  private async nextEvent(milliseconds: number, socket: Socket): Promise<Buffer | undefined> {
    if (this.events.length === 0 && milliseconds > 0) {
      await new Promise<void>((resolve) => {
        const end = () => {
          clearTimeout(timer);
          socket.off('close', end);
          this.listeners.delete(end);
          resolve();
        };
        const timer = setTimeout(end, milliseconds);
        socket.once('close', end);
        this.listeners.add(end);
      });
    }
    return socket.destroyed ? undefined : this.events.shift();
  }
}
