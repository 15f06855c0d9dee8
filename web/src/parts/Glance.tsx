// The first view on a narrow screen: what would be fired, in a few words, above a bar that takes up the rest.
// The request is changed on a screen of its own.
import { evInWords, fromEv } from '../../../shared/ev.js';
import type { WirePlan } from '../../../shared/plan.js';
import type { BodyView } from '../../../shared/state.js';
import { countsOf } from '../readiness.js';
import { readExtend } from '../request.js';
import { addressOf } from '../route.js';
import { awaitsPlan, base, body, foreseeing, listIsWanted, planning, request, schedule } from '../store.js';
import { text } from '../text.js';

import { ChangedElsewhere } from './Ask.js';
import { Delay } from './Delay.js';
import { Mark } from './Mark.js';
import { Refused } from './More.js';

export function Glance() {
  const found = body.value;
  // All of it appears at once: a part that came later would move the rest.
  if (found === null || awaitsPlan.value) return null;
  const planned = planning.value;
  const plan =
    planned.state === 'planned' ? planned.plan : planned.state === 'asking' ? planned.before : null;
  const refused = planned.state === 'refused' ? planned.refusal : null;
  return (
    <section class="glance" aria-labelledby="glance-heading">
      {plan !== null && <Asked plan={plan} found={found} />}
      {refused !== null && (
        <>
          <h2 id="glance-heading">{text.ask.heading}</h2>
          <Refused refusal={refused} />
        </>
      )}
      <ChangedElsewhere />
      <Standing found={found} warnings={plan?.warnings.length ?? 0} />
      <div class="glance-foot">
        <a class="button" href={addressOf.form}>
          {text.glance.change}
        </a>
        {!schedule.value.on && <Delay id="glance-delay" />}
      </div>
    </section>
  );
}

function Asked({ plan, found }: { readonly plan: WirePlan; readonly found: BodyView }) {
  const { labels, step } = request.value;
  const { name, viewpoint } = labels;
  const ev = (offset: number | undefined) => evInWords(fromEv(offset ?? 0));
  const { offsets } = plan;
  const extend = readExtend(request.value.extendWritten);
  const foreseen = foreseeing.value.state === 'foreseen' ? foreseeing.value.foreseen : null;
  return (
    <>
      <h2 id="glance-heading">{text.glance.set(offsets.length, evInWords(step, false))}</h2>
      <p>
        {text.glance.about(
          ev(offsets[0]),
          ev(offsets.at(-1)),
          request.value.by === 'readings' ? plan.base.shutter : (base.value ?? ''),
          text.body.settings(found.aperture, found.iso),
        )}
      </p>
      {extend !== undefined && extend > 0 && <p>{text.glance.mayGrow(extend)}</p>}
      {schedule.value.on && (
        <p>
          {foreseen === null
            ? text.schedule.form.line(true, schedule.value.every, schedule.value.unit)
            : text.schedule.line.size(foreseen.estimate.sets, foreseen.schedule.everySeconds)}
        </p>
      )}
      {(name !== '' || viewpoint !== '') && <p class="glance-name">{text.labels.line(name, viewpoint)}</p>}
    </>
  );
}

/** How the body stands, in a line that leads to the list. */
function Standing({ found, warnings }: { readonly found: BodyView; readonly warnings: number }) {
  const counts = countsOf(found.readiness);
  const attention = counts.attention + warnings;
  const gravest = counts.stops > 0 ? 'stops' : attention > 0 ? 'attention' : 'fine';
  return (
    <a
      class="glance-standing"
      href={addressOf.form}
      data-mark={gravest}
      onClick={() => {
        listIsWanted.value = true;
      }}
    >
      <Mark of={gravest} />
      <span>{text.readiness.line({ ...counts, attention })}</span>
    </a>
  );
}
