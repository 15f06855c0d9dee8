// Every call that may reach the body: on a thread of koffi's, so that this process goes on answering
// meanwhile; and one after another, since the library refuses a second call at the same time as busy.
import type { KoffiFunc } from 'koffi';
import type { ResultCode } from '../library/result-codes.js';

/** A call of the library that failed. */
export class CallFailure extends Error {
  override readonly name = 'CallFailure';
  readonly code: ResultCode;

  constructor(code: ResultCode) {
    super(`the camera's library answered with ${code}`);
    this.code = code;
  }
}

export class Calls {
  private last: Promise<unknown> = Promise.resolve();

  /** @returns what the function returns, once the calls before it have returned */
  run<Args extends unknown[]>(
    call: KoffiFunc<(...args: Args) => number>,
    ...args: Args
  ): Promise<ResultCode> {
    const result = this.last.then(
      () =>
        new Promise<ResultCode>((resolve, reject) => {
          call.async(...args, (error, code) => {
            if (error instanceof Error) reject(error);
            else resolve(code);
          });
        }),
    );
    this.last = result.catch(() => undefined);
    return result;
  }

  /** @throws CallFailure for a result code below 0 */
  async must<Args extends unknown[]>(
    call: KoffiFunc<(...args: Args) => number>,
    ...args: Args
  ): Promise<ResultCode> {
    const code = await this.run(call, ...args);
    if (code < 0) throw new CallFailure(code);
    return code;
  }
}
