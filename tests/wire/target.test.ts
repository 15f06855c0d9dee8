// Where frames are kept, on a body whose target the library moves when it connects: onto the card once, and never back.
import { expect, it } from 'vitest';
import { Body } from '../../src/camera/index.js';
import { fireSet } from '../harness/set.js';
import { WAYS, withLinkedBody } from './linked-body.js';
import { AMOUNT_OPERATION } from './ptp/amount-face.js';

it.each(WAYS)('over the %s way two sets move it once, and letting go leaves it on the card', async (way) => {
  await withLinkedBody(
    'amount',
    async ({ link, into, body: camera, responder }) => {
      await camera.change('target', 'card');
      const body = await Body.meet(link);
      expect(camera.state.target).toBe('memory');
      expect(body.framesLeftOnCard).toBe(null);
      const written = () =>
        responder.transactions.filter(
          ({ request: { code, data } }) =>
            code === AMOUNT_OPERATION.setProperty && data?.readUInt32LE(4) === CAPTURE_TARGET,
        ).length;
      const before = written();
      await body.keepOnCard();
      expect(camera.state.target).toBe('card');
      expect(body.framesLeftOnCard).toBeGreaterThan(0);
      for (const set of ['one', 'two']) {
        const { state, record } = await fireSet(`${into}/${set}`, { frames: 3, body });
        expect(state).toBe('complete');
        expect(record?.putBack).not.toContain('capturetarget');
        expect(body.debts.size).toBe(0);
        expect(camera.state.target).toBe('card');
      }
      expect(written() - before).toBe(1);
      await body.letGo();
      expect(camera.state.target).toBe('card');
    },
    { way },
  );
});

/** As in amount-face.ts. */
const CAPTURE_TARGET = 0xd11c;
