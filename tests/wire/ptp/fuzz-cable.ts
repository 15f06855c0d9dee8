// A cable that spoils one container: stands between the virtual USB port and the body's end of it, passes everything on as it
// is, and gives one answer or event to a mutation. Moves whole containers and knows nothing of what they say beyond the head.
import { rmSync } from 'node:fs';
import { connect, createServer, type Server, type Socket } from 'node:net';

const REQUEST_HEAD = 9;
const REPLY_HEAD = 8;
const BULK_OUT = 1;
const BULK_IN = 2;
/** More than any container has. */
const WHOLE = 0x7fffffff;
const COMMAND = 1;

/** Where a container stands in a session. */
export interface Place {
  /** The operation that it answers, or `event`. */
  readonly operation: number | 'event';
  /** Its container type: data, response or event. */
  readonly type: number;
  /** The how manieth of these it is, from 0. */
  readonly nth: number;
}

export interface Spoilt {
  /** What is given instead of the container: any number of transfers. */
  readonly transfers: readonly Buffer[];
  /** Given after the container that follows. */
  readonly later?: Buffer;
}

/** @returns undefined where the container passes as it is */
export type Spoiler = (place: Place, container: Buffer) => Spoilt | undefined;

const NOTHING = Buffer.alloc(0);

export class FuzzCable {
  readonly path: string;
  /** Asked about every container of the body. */
  spoiler: Spoiler = () => undefined;
  private readonly body: string;
  private readonly counts = new Map<string, number>();
  private readonly sockets = new Set<Socket>();
  private server: Server | undefined;

  /** @param body the socket of the body's end */
  constructor(path: string, body: string) {
    this.path = path;
    this.body = body;
  }

  /** Containers are counted from now on. */
  startCounting(): void {
    this.counts.clear();
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

  async unplug(): Promise<void> {
    for (const socket of this.sockets) socket.destroy();
    const { server } = this;
    if (server !== undefined) await new Promise((resolve) => server.close(resolve));
  }

  private spoil(operation: Place['operation'], container: Buffer): Spoilt {
    const type = container.length < 6 ? 0 : container.readUInt16LE(4);
    const key = `${operation} ${type}`;
    const nth = this.counts.get(key) ?? 0;
    this.counts.set(key, nth + 1);
    return this.spoiler({ operation, type, nth }, container) ?? { transfers: [container] };
  }

  private serve(port: Socket): void {
    const body = connect(this.body);
    for (const [one, other] of [
      [port, body],
      [body, port],
    ] as const) {
      this.sockets.add(one);
      one.on('close', () => {
        this.sockets.delete(one);
        other.destroy();
      });
      one.on('error', () => undefined);
    }

    /** What the port has still to be given, a transfer an entry. */
    const outgoing: Buffer[] = [];
    let later: Buffer | undefined;
    let operation = 0;
    let wanted: number | undefined;
    /** The requests that the body's end has not replied to, oldest first: it replies in order but for bulk-in. */
    const asked: number[] = [];
    let requests = NOTHING;
    let replies = NOTHING;

    const ask = (kind: number, argument: number, bytes: Buffer) => {
      const head = Buffer.alloc(REQUEST_HEAD);
      head.writeUInt8(kind, 0);
      head.writeUInt32LE(argument, 1);
      head.writeUInt32LE(bytes.length, 5);
      asked.push(kind);
      body.write(Buffer.concat([head, bytes]));
    };
    const reply = (status: number, bytes: Buffer) => {
      const head = Buffer.alloc(REPLY_HEAD);
      head.writeInt32LE(status, 0);
      head.writeUInt32LE(bytes.length, 4);
      port.write(Buffer.concat([head, bytes]));
    };
    const feed = () => {
      if (wanted === undefined) return;
      const [transfer] = outgoing;
      if (transfer === undefined) {
        if (!asked.includes(BULK_IN)) ask(BULK_IN, WHOLE, NOTHING);
        return;
      }
      const piece = transfer.subarray(0, wanted);
      if (piece.length === transfer.length) outgoing.shift();
      else outgoing[0] = transfer.subarray(piece.length);
      wanted = undefined;
      reply(piece.length, piece);
    };
    const fromPort = (kind: number, argument: number, bytes: Buffer) => {
      if (kind === BULK_IN) {
        wanted = argument;
        feed();
        return;
      }
      if (kind === BULK_OUT && bytes.length >= 12 && bytes.readUInt16LE(4) === COMMAND) {
        // What an earlier operation left unread is still on the line, as it is over USB.
        operation = bytes.readUInt16LE(6);
      }
      ask(kind, argument, bytes);
    };
    const fromBody = (status: number, bytes: Buffer) => {
      const kind = asked.shift();
      if (kind === BULK_IN) {
        const spoilt = this.spoil(operation, Buffer.from(bytes));
        outgoing.push(...spoilt.transfers, ...(later === undefined ? [] : [later]));
        later = spoilt.later;
        feed();
        return;
      }
      if (kind === BULK_OUT || bytes.length === 0) {
        reply(status, bytes);
        return;
      }
      const [event = NOTHING] = this.spoil('event', Buffer.from(bytes)).transfers;
      reply(event.length, event);
    };

    port.on('data', (bytes) => {
      requests = Buffer.concat([requests, bytes]);
      while (requests.length >= REQUEST_HEAD) {
        const end = REQUEST_HEAD + requests.readUInt32LE(5);
        if (requests.length < end) return;
        const [kind, argument] = [requests.readUInt8(0), requests.readUInt32LE(1)];
        const content = requests.subarray(REQUEST_HEAD, end);
        requests = requests.subarray(end);
        fromPort(kind, argument, content);
      }
    });
    body.on('data', (bytes) => {
      replies = Buffer.concat([replies, bytes]);
      while (replies.length >= REPLY_HEAD) {
        const end = REPLY_HEAD + replies.readUInt32LE(4);
        if (replies.length < end) return;
        const status = replies.readInt32LE(0);
        const content = replies.subarray(REPLY_HEAD, end);
        replies = replies.subarray(end);
        fromBody(status, content);
      }
    });
  }
}
