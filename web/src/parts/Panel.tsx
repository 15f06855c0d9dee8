// The page: which parts are on it in which view. The order of reading and tabbing is that of the narrow
// screen's markup; the style sheet places the parts.
import { useRef } from 'preact/hooks';
import { mayFire } from '../access.js';
import { call } from '../alarm.js';
import { type LookedAt, lookedAt } from '../kept-sets.js';
import { addressOf, route } from '../route.js';
import { isNarrow } from '../screen.js';
import { body, connection, daemon, view } from '../store.js';
import { text } from '../text.js';
import { AlarmBand, AlarmSetting } from './Alarm.js';
import { Announcer } from './Announcer.js';
import { Ask } from './Ask.js';
import { Body } from './Body.js';
import { ConnectionBand, ConnectionMark } from './Connection.js';
import { Devices, WatchOnly } from './Devices.js';
import { Ended, Outcome } from './Ended.js';
import { Glance } from './Glance.js';
import { KeptSet } from './KeptSet.js';
import { PlanLadder, RunLadder } from './Ladder.js';
import { Left } from './Left.js';
import { LightSetting, LightSwitch } from './Light.js';
import { NewerBand } from './Phone.js';
import { Readiness } from './Readiness.js';
import { Running } from './Running.js';
import { Sets } from './Sets.js';
import { TimeLine } from './TimeLine.js';
import { Trigger } from './Trigger.js';
import { TroubleBand } from './Trouble.js';
import { Unfinished } from './Unfinished.js';
import { Viewer } from './Viewer.js';

export function Panel() {
  const shown = view.value;
  const page = route.value;
  const unfinished = daemon.value?.unfinished ?? null;
  const isOnSets = page.name === 'sets' || page.name === 'set';
  const canAsk = mayFire.value && shown.name === 'ask' && body.value !== null && unfinished === null;
  /** The bar and little else: the request is changed on a screen of its own. */
  const isGlance = canAsk && isNarrow.value && (page.name === 'panel' || page.name === 'rung');
  const run = shown.name === 'ask' ? null : shown.run;
  const schedule = shown.name === 'ask' ? null : shown.schedule;
  return (
    <>
      <header class="top">
        <h1>{text.name}</h1>
        <nav aria-label={text.pages}>
          <a href={isOnSets ? addressOf.panel : addressOf.sets}>
            {isOnSets ? text.list.back : text.list.link}
          </a>
        </nav>
        <LightSwitch />
        <ConnectionMark />
      </header>
      <div class="bands">
        <ConnectionBand />
        <AlarmBand />
        <TroubleBand />
        <NewerBand />
      </div>
      <main
        class="panel"
        data-view={shown.name}
        data-page={isOnSets ? 'sets' : 'panel'}
        data-glance={isGlance}
        data-run-state={run?.state ?? 'none'}
        data-schedule-state={schedule?.state ?? 'none'}
        data-body-state={daemon.value?.body.state ?? 'unknown'}
        data-connection={connection.value.state}
        data-trouble={(shown.name === 'running' && (run?.trouble ?? null) !== null) || call.value !== null}
      >
        <div class="side">
          <div class="side-list">
            <Body />
            {unfinished !== null && mayFire.value && <Unfinished of={unfinished} />}
            {isGlance && <Glance />}
            {canAsk && isNarrow.value && page.name === 'form' && <ToBar />}
            {canAsk && !isGlance && <Ask />}
            {canAsk && !isGlance && <Readiness />}
            {!isGlance && <Left />}
            {!isGlance && <AlarmSetting />}
            {!isGlance && <LightSetting />}
            {!isGlance && <Devices />}
            <WatchOnly />
            {/* Below what stands there all the time: nothing moves as it comes. */}
            {shown.name === 'ended' && (isNarrow.value || unfinished !== null) && (
              <Ended id={shown.id} run={run} schedule={schedule} />
            )}
          </div>
          {canAsk && <Trigger />}
          {shown.name === 'running' && <Running id={shown.id} run={run} schedule={schedule} />}
          {shown.name === 'ended' && unfinished === null && (
            <Outcome id={shown.id} run={run} schedule={schedule} />
          )}
        </div>
        {page.name === 'sets' && <Sets />}
        {page.name === 'set' && <KeptSet id={page.id} frame={page.frame} />}
        {!isOnSets && canAsk && !isGlance && <PlanLadder />}
        {!isOnSets && (schedule !== null || run !== null) && (
          <div class="made">
            {schedule !== null && <TimeLine schedule={schedule} />}
            {run !== null && <RunLadder run={run} isScheduled={schedule !== null} />}
          </div>
        )}
      </main>
      <Announcer />
      {page.name === 'rung' && <RungViewer key={page.id} id={page.id} number={page.frame} />}
    </>
  );
}

/**
 * A schedule may go on to the next set meanwhile: the frame on the screen stays, until it is read again as
 * one of a finished set.
 */
function RungViewer({ id, number }: { readonly id: string; readonly number: number }) {
  const known = useRef<LookedAt | null>(null);
  known.current = lookedAt(id) ?? known.current;
  if (known.current === null) return null;
  return (
    <Viewer
      set={known.current}
      number={number}
      addressOf={(other) => addressOf.rung(id, other)}
      under={addressOf.panel}
      linkOf={(other) => `.rung[data-frame="${other}"] a.picture`}
    />
  );
}

function ToBar() {
  return (
    <a class="back" href={addressOf.panel}>
      {text.glance.done}
    </a>
  );
}
