// The page: which parts stand on it in which view. Reading and tab order are those of the narrow screen's markup; where the
// parts stand is for the style sheet.
import { body, connection, daemon, view } from '../store.js';
import { text } from '../text.js';
import { Announcer } from './Announcer.js';
import { Ask } from './Ask.js';
import { Body } from './Body.js';
import { ConnectionBand, ConnectionMark } from './Connection.js';
import { Ended, NewSet } from './Ended.js';
import { PlanLadder, RunLadder } from './Ladder.js';
import { Readiness } from './Readiness.js';
import { Running } from './Running.js';
import { Trigger } from './Trigger.js';
import { TroubleBand } from './Trouble.js';
import { Unfinished } from './Unfinished.js';

export function Panel() {
  const shown = view.value;
  const unfinished = daemon.value?.unfinished ?? null;
  const canAsk = shown.name === 'ask' && body.value !== null && unfinished === null;
  return (
    <>
      <header class="top">
        <h1>{text.name}</h1>
        <ConnectionMark />
      </header>
      <div class="bands">
        <ConnectionBand />
        <TroubleBand />
      </div>
      <main
        class="panel"
        data-view={shown.name}
        data-run-state={shown.name === 'ask' ? 'none' : shown.run.state}
        data-body-state={daemon.value?.body.state ?? 'unknown'}
        data-connection={connection.value.state}
        data-trouble={shown.name === 'running' && shown.run.trouble !== null}
      >
        <div class="side">
          <Body />
          {unfinished !== null && <Unfinished of={unfinished} />}
          {canAsk && <Ask />}
          {canAsk && <Readiness />}
          {shown.name === 'ended' && <Ended run={shown.run} />}
          {canAsk && <Trigger />}
          {shown.name === 'running' && <Running run={shown.run} />}
          {shown.name === 'ended' && <NewSet />}
        </div>
        {canAsk && <PlanLadder />}
        {shown.name !== 'ask' && <RunLadder run={shown.run} />}
      </main>
      <Announcer />
    </>
  );
}
