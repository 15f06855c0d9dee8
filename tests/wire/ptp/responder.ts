// A PTP responder around a practice body: sessions, transactions and files, which are the same for every body, here; how a
// family of bodies shows its settings and its shutter, in a face. Tests look at the transactions and may step into any.

import type { PressAnswer } from '../../../src/camera/practice/model.js';
import { array, u32 } from './bytes.js';
import type { Card } from './card.js';
import { STORAGE } from './card.js';
import { OPERATION, RESPONSE } from './codes.js';
import { CONTAINER, type Container, packParameters, unpackParameters } from './containers.js';
import { type DeviceInfo, isAny, packDeviceInfo, packObjectInfo, packStorageInfo } from './datasets.js';
import type { UsbDevice } from './virtual-usb.js';

export interface PtpRequest {
  readonly code: number;
  readonly parameters: readonly number[];
  /** What the initiator sent in the data phase, where the operation has one in this direction. */
  readonly data: Buffer | null;
}

export interface PtpAnswer {
  /** The response code; `ok` where it is left out. */
  readonly response?: number;
  readonly parameters?: readonly number[];
  /** What the responder sends in the data phase. */
  readonly data?: Buffer;
}

export type Handler = (request: PtpRequest) => PtpAnswer | Promise<PtpAnswer>;

/**
 * Steps between a request and its handler: may look, wait, answer something else, or never settle (a body that hangs).
 * `proceed` asks the next interceptor, or the handler.
 */
export type Interceptor = (request: PtpRequest, proceed: () => Promise<PtpAnswer>) => Promise<PtpAnswer>;

/** How one family of bodies shows itself. */
export interface Face {
  readonly card: Card;
  describe(): Omit<DeviceInfo, 'operations'>;
  /** What it answers to beside the common operations. */
  readonly handlers: ReadonlyMap<number, Handler>;
  /** Operations of `handlers` in whose data phase the initiator sends. */
  readonly takingData: ReadonlySet<number>;
  /** Whatever button is down goes up. */
  letGo(): void;
}

/** A transaction that took place. */
export interface Transaction {
  readonly request: PtpRequest;
  readonly response: number;
}

/** They send files. */
const SENDING: ReadonlySet<number> = new Set([OPERATION.getObject, OPERATION.getPartialObject]);

const respond = (response: number): PtpAnswer => ({ response });

/** @returns what a body answers to a release */
export function pressed(answer: PressAnswer): PtpAnswer {
  switch (answer) {
    case 'busy':
      return respond(RESPONSE.deviceBusy);
    case 'card-full':
      return respond(RESPONSE.storeFull);
    default:
      return {};
  }
}

export class Responder implements UsbDevice {
  /** Every transaction that was answered, oldest first. */
  readonly transactions: Transaction[] = [];
  private readonly face: Face;
  private readonly handlers: ReadonlyMap<number, Handler>;
  private readonly interceptors: { readonly code: number | 'any'; readonly interceptor: Interceptor }[] = [];
  private sessionOpen = false;
  private awaitingData: { readonly code: number; readonly parameters: readonly number[] } | undefined;

  constructor(face: Face) {
    this.face = face;
    this.handlers = new Map([...this.commonHandlers(), ...face.handlers]);
  }

  /** Everything that it answers to. */
  get operations(): readonly number[] {
    return [...this.handlers.keys()];
  }

  /** @returns how many transactions of an operation were answered */
  count(code: number): number {
    return this.transactions.filter(({ request }) => request.code === code).length;
  }

  /**
   * Steps into an operation, or into all of them. The latest interceptor is asked first.
   * @returns what takes it out again
   */
  intercept(code: number | 'any', interceptor: Interceptor): () => void {
    const entry = { code, interceptor };
    this.interceptors.unshift(entry);
    return () => {
      const index = this.interceptors.indexOf(entry);
      if (index >= 0) this.interceptors.splice(index, 1);
    };
  }

  reopened(): void {
    // The session outlives the port, as it does on a body whose computer went away without a word.
    this.awaitingData = undefined;
  }

  /** Nobody could let go any more: the body is taken to do so by itself. */
  unplugged(): void {
    this.face.letGo();
  }

  async receive({ type, code, transaction, payload }: Container): Promise<readonly Container[]> {
    if (type === CONTAINER.command) {
      const parameters = unpackParameters(payload);
      if (this.face.takingData.has(code)) {
        this.awaitingData = { code, parameters };
        return [];
      }
      return this.answer({ code, parameters, data: null }, transaction);
    }
    const awaited = this.awaitingData;
    this.awaitingData = undefined;
    if (type !== CONTAINER.data || awaited?.code !== code) {
      throw new Error(`A container of type ${type} came that nobody waits for.`);
    }
    return this.answer({ ...awaited, data: payload }, transaction);
  }

  private async answer(request: PtpRequest, transaction: number): Promise<readonly Container[]> {
    const { code } = request;
    const { response = RESPONSE.ok, parameters = [], data } = await this.throughInterceptors(request);
    this.transactions.push({ request, response });
    const closing: Container = {
      type: CONTAINER.response,
      code: response,
      transaction,
      payload: packParameters(parameters),
    };
    if (data === undefined) return [closing];
    return [{ type: CONTAINER.data, code, transaction, payload: data }, closing];
  }

  private throughInterceptors(request: PtpRequest): Promise<PtpAnswer> {
    const stepping = this.interceptors.filter(({ code }) => code === 'any' || code === request.code);
    const from = (index: number): Promise<PtpAnswer> => {
      const next = stepping[index];
      return next === undefined ? this.handle(request) : next.interceptor(request, () => from(index + 1));
    };
    return from(0);
  }

  private async handle(request: PtpRequest): Promise<PtpAnswer> {
    const handler = this.handlers.get(request.code);
    if (handler === undefined) return respond(RESPONSE.operationNotSupported);
    const withoutSession = request.code === OPERATION.getDeviceInfo || request.code === OPERATION.openSession;
    if (!this.sessionOpen && !withoutSession) return respond(RESPONSE.sessionNotOpen);
    if (SENDING.has(request.code) && !(await this.face.card.maySend())) return respond(RESPONSE.deviceBusy);
    return handler(request);
  }

  private commonHandlers(): Map<number, Handler> {
    const { face } = this;
    const { card } = face;
    return new Map<number, Handler>([
      [OPERATION.getDeviceInfo, () => this.deviceInfo()],
      [
        OPERATION.openSession,
        () => {
          if (this.sessionOpen) return respond(RESPONSE.sessionAlreadyOpen);
          this.sessionOpen = true;
          return {};
        },
      ],
      [
        OPERATION.closeSession,
        () => {
          this.sessionOpen = false;
          face.letGo();
          return {};
        },
      ],
      [OPERATION.getStorageIds, () => ({ data: array(u32, [STORAGE]) })],
      [
        OPERATION.getStorageInfo,
        ({ parameters: [storage = 0] }) =>
          storage === STORAGE
            ? { data: packStorageInfo(card.freeImages) }
            : respond(RESPONSE.invalidStorageId),
      ],
      [
        OPERATION.getObjectCount,
        ({ parameters: [, , folder = 0] }) => ({ parameters: [card.handles(folder).length] }),
      ],
      [
        OPERATION.getObjectHandles,
        ({ parameters: [storage = 0, , folder = 0] }) =>
          isAny(storage) || storage === STORAGE
            ? { data: array(u32, card.handles(folder)) }
            : respond(RESPONSE.invalidStorageId),
      ],
      [
        OPERATION.getObjectInfo,
        ({ parameters: [handle = 0] }) => {
          const info = card.info(handle);
          return info === undefined ? respond(RESPONSE.invalidObjectHandle) : { data: packObjectInfo(info) };
        },
      ],
      [
        OPERATION.getObject,
        ({ parameters: [handle = 0] }) => {
          const picture = card.picture(handle);
          if (picture === undefined) return respond(RESPONSE.invalidObjectHandle);
          card.sent(handle);
          return { data: picture };
        },
      ],
      [
        OPERATION.getPartialObject,
        ({ parameters: [handle = 0, offset = 0, length = 0] }) => {
          const piece = card.picture(handle)?.subarray(offset, offset + length);
          return piece === undefined
            ? respond(RESPONSE.invalidObjectHandle)
            : { data: piece, parameters: [piece.length] };
        },
      ],
      [
        OPERATION.deleteObject,
        ({ parameters: [handle = 0] }) => (card.delete(handle) ? {} : respond(RESPONSE.invalidObjectHandle)),
      ],
    ]);
  }

  private deviceInfo(): PtpAnswer {
    const info = this.face.describe();
    return { data: packDeviceInfo({ ...info, operations: this.operations }) };
  }
}
