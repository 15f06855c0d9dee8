// Properties are tried on the same invented cases every time, so that a failure can be repeated anywhere.
// Another seed tries other cases.
import fc from 'fast-check';

fc.configureGlobal({ seed: Number(process.env.EVENRUNG_SEED ?? 20_261_125) });

export default fc;
