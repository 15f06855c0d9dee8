// What the killed process asks of the body that lives in the process that started it.

export interface Asked {
  readonly id: number;
  readonly method: 'identify' | 'readLimits' | 'readSettings' | 'changeSetting' | 'fire';
  readonly args: readonly unknown[];
}

export type Answered =
  | { readonly id: number; readonly value: unknown }
  | { readonly id: number; readonly error: string };
