// Measurements of the computer: `npm run bench -- pace` judges them, while nothing else runs. In `npm test`
// the same tests only show that it works, on a computer that may be as busy as it likes.
import { expect } from 'vitest';

export const IS_JUDGED = process.env.EVENRUNG_PACE === 'judged';

/** For it(): bench pace runs the tests that have it. Another process can only make things slower: once in three is enough. */
export const PACED = { tags: ['pace'], retry: IS_JUDGED ? 2 : 0 };

/** How often something is measured whose middle counts. */
export const ROUNDS = IS_JUDGED ? 5 : 1;

/**
 * @param most the figure has to stay below it
 * @param least the figure has to reach it
 */
export function pace(
  what: string,
  figure: number,
  unit: 'ms' | 's' | 'MB',
  most: number,
  least?: number,
): void {
  if (!IS_JUDGED) return;
  const written = (of: number) => (of >= 10 ? of.toFixed(0) : of.toPrecision(2));
  const bounds = `below ${written(most)} ${unit}${least === undefined ? '' : `, at least ${written(least)} ${unit}`}`;
  console.log(`pace: ${what}: ${written(figure)} ${unit} (${bounds})`);
  expect(figure, what).toBeLessThan(most);
  if (least !== undefined) expect(figure, what).toBeGreaterThanOrEqual(least);
}
