// Warnings of a plan that are cautions: they are told before anything is fired. Apart from the schemas, so that the panel need not load those.

/** The code of such a warning. */
export const SUN_METERED = 'sun-metered';

/** @returns the sentences that are told before anything is fired */
export const cautionsIn = (
  warnings: readonly { readonly code: string; readonly message: string }[],
): string[] => warnings.filter(({ code }) => code === SUN_METERED).map(({ message }) => message);
