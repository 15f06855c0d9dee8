// Compares what a run on a schedule has left in its journal and in its folders with what was asked for and
// with what the shutter did. It reads, and changes nothing.
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import { ENDED } from '../../shared/fold.js';
import { type KeptSetRecord, readSetRecord } from '../../shared/set-record.js';
import type { PracticeState } from '../../src/camera/practice/model.js';
import { checksumOf } from '../../src/frames/hand-over/checksum.js';
import { CONTACT_SHEET } from '../../src/frames/hand-over/names.js';
import { checkSet, readRecorded, recordedTv } from '../../src/frames/index.js';
import type { JournalReader, ListedSet, StoredSet } from '../../src/journal/index.js';
import { scheduledIn } from '../../src/series/scheduled-options.js';
import type { ShutterBook } from './shutter-book.js';

export interface Finding {
  /**
   * `lost`: a frame that is gone, a release or a slot that is recorded nowhere, a set that is not complete
   * and does not say why. `doubled`: a frame twice, or a set. `wrong`: anything that differs from what was
   * asked for, or from what another place says.
   */
  readonly kind: 'lost' | 'doubled' | 'wrong';
  readonly sentence: string;
}

export interface ToCompare {
  readonly run: string;
  readonly journal: JournalReader;
  readonly into: string;
  readonly slots: number;
  /** Null for a body whose shutter nobody can see. */
  readonly book: ShutterBook | null;
  readonly settings: { readonly before: PracticeState; readonly after: PracticeState } | null;
}

export interface Compared {
  readonly sets: number;
  readonly complete: number;
  readonly missed: number;
  readonly findings: readonly Finding[];
}

/** 1/60 s. */
const BASE_TV = 36;
const OFFSETS = [-4, -3, -2, -1, 0, 1, 2, 3, 4];
/** A set that is made in its slot begins there, by a clock that another process may have anchored anew. */
const SLOT_CLOCK_MS = 20;
/** How far clocks that do not quite agree are believed (src/set/judge/marks.ts). */
const BELIEVED_MS = 3000;

/** A file of a set folder, by its checksum. */
interface Place {
  readonly set: number;
  readonly file: string;
  readonly isFrame: boolean;
}

export async function compareRun(asked: ToCompare): Promise<Compared> {
  const comparison = new Comparison(asked);
  return comparison.all();
}

class Comparison {
  private readonly asked: ToCompare;
  private readonly findings: Finding[] = [];
  private readonly places = new Map<string, Place[]>();

  constructor(asked: ToCompare) {
    this.asked = asked;
  }

  async all(): Promise<Compared> {
    const { run, journal } = this.asked;
    const listed = journal.sets({ run, limit: 1000 }).reverse();
    for (const one of listed) await this.set(one);
    const missed = this.whole(listed);
    this.slots(listed);
    await this.folders(listed);
    this.doubles();
    for (const [index, one] of listed.entries()) this.shots(one, listed[index + 1] ?? null);
    this.before(listed);
    this.settings();
    const complete = listed.filter(({ state }) => state === 'complete').length;
    return { sets: listed.length, complete, missed, findings: this.findings };
  }

  private find(kind: Finding['kind'], sentence: string): void {
    this.findings.push({ kind, sentence });
  }

  // --- the run as a whole

  /** @returns how many slots passed without a set */
  private whole(listed: readonly ListedSet[]): number {
    const { run, journal, slots } = this.asked;
    const kept = journal.run(run);
    const sentence = kept?.sentence ?? '';
    if (kept === null || kept.state === 'under-way' || sentence === '')
      this.find('lost', `The run is ${kept?.state}, and says: '${sentence}'.`);
    const complete = listed.filter(({ state }) => state === 'complete').length;
    const counted = (pattern: RegExp) => Number(pattern.exec(sentence)?.[1] ?? 0);
    const isWhole = /^(?:All \d+ sets are|Both sets are|The set is) complete\.$/.test(sentence);
    const told = isWhole
      ? { complete: slots, incomplete: 0, missed: 0 }
      : {
          complete: counted(/(\d+) of \d+ sets (?:is|are) complete/),
          incomplete: counted(/(\d+) (?:is|are) not\./),
          missed: counted(/(\d+) slots? passed without a set/),
        };
    if (told.complete !== complete || told.incomplete !== listed.length - complete)
      this.find(
        'wrong',
        `${complete} of ${listed.length} sets are complete in the journal, and the run says: ${sentence}`,
      );
    // One that was ended before its time has slots to come.
    if (kept?.state === 'complete' && told.complete + told.incomplete + told.missed !== slots)
      this.find('lost', `Of ${slots} slots, the run tells: ${sentence}`);
    if (listed.some(({ ordinal }, index) => ordinal !== index + 1))
      this.find('lost', `The sets have the ordinals ${listed.map(({ ordinal }) => ordinal).join()}.`);
    return told.missed;
  }

  private slots(listed: readonly ListedSet[]): void {
    const { run, journal, slots } = this.asked;
    const kept = journal.run(run);
    const options = kept === null ? null : scheduledIn(kept);
    if (options === null) {
      this.find('wrong', 'The journal does not keep the schedule.');
      return;
    }
    const { start, everySeconds } = options.foreseen.schedule;
    let before = -1;
    for (const { ordinal, startedAt } of listed) {
      const slot = Math.floor(
        (Date.parse(startedAt) - Date.parse(start) + SLOT_CLOCK_MS) / (everySeconds * 1000),
      );
      if (slot === before) this.find('doubled', `Set ${ordinal} is the second one in slot ${slot}.`);
      else if (slot < before || slot >= slots)
        this.find('wrong', `Set ${ordinal} is in slot ${slot}, after one in slot ${before}.`);
      before = slot;
    }
  }

  private async folders(listed: readonly ListedSet[]): Promise<void> {
    const known = new Set(listed.map(({ folder }) => (folder === null ? '' : path.resolve(folder))));
    for (const name of await readdir(this.asked.into))
      if (!known.has(path.resolve(this.asked.into, name)))
        this.find('wrong', `The folder ${name} is of no set.`);
  }

  private settings(): void {
    const { settings } = this.asked;
    for (const [name, found] of Object.entries(settings?.before ?? {})) {
      const now = settings?.after[name as keyof PracticeState];
      if (!isDeepStrictEqual(now, found))
        this.find('wrong', `${name} is ${JSON.stringify(now)}, found was ${JSON.stringify(found)}.`);
    }
  }

  // --- one set

  private async set({ id, ordinal }: ListedSet): Promise<void> {
    const set = this.asked.journal.set(id);
    const find = (kind: Finding['kind'], sentence: string) => this.find(kind, `Set ${ordinal}: ${sentence}`);
    if (set === null) {
      find('lost', 'The journal lists it, and does not have it.');
      return;
    }
    const verified = set.frames.filter(({ view }) => view.state === 'verified').length;
    if (!ENDED.has(set.state) || set.endedAt === null || !set.sentence?.endsWith('.'))
      find('lost', `It is ${set.state}, and says: ${set.sentence}`);
    if ((set.state === 'complete') !== (verified === OFFSETS.length))
      find('wrong', `It is ${set.state} with ${verified} frames.`);
    for (const { about, from, to, number } of this.asked.journal.transitions({ set: id }))
      if (about === 'frame' && from === 'verified' && to === 'rejected')
        find('lost', `Frame ${number} was verified, and rejected after.`);
    if (set.folder === null) {
      if (verified > 0) find('lost', `It has ${verified} frames and no folder.`);
      return;
    }
    await this.folder(set, set.folder, find);
  }

  private async folder(
    set: StoredSet,
    folder: string,
    find: (kind: Finding['kind'], sentence: string) => void,
  ): Promise<void> {
    const { findings } = await checkSet(folder);
    for (const { code, sentence } of findings)
      if (code !== 'set-incomplete' || set.state === 'complete') find('wrong', sentence);
    let record: KeptSetRecord;
    try {
      record = readSetRecord(await readFile(path.join(folder, 'set.json'), 'utf8')).record;
    } catch (cause) {
      find('lost', `It has no record: ${cause}`);
      return;
    }
    for (const [what, kept, recorded] of disagreements(set, record))
      find('wrong', `${what}: the journal has ${kept}, the record ${recorded}.`);
    if (record.notPutBack.length > 0)
      find('wrong', `Not put back: ${record.notPutBack.map(({ name }) => name).join()}.`);
    const offsets = record.frames.map(({ offset }) => offset);
    if (!isDeepStrictEqual(offsets, OFFSETS)) find('wrong', `Its offsets are ${offsets.join()}.`);
    await this.files(set, folder, record, find);
  }

  private async files(
    { ordinal, startedAt }: StoredSet,
    folder: string,
    record: KeptSetRecord,
    find: (kind: Finding['kind'], sentence: string) => void,
  ): Promise<void> {
    const times = new Map<number, string>();
    const pictures = (await readdir(folder, { recursive: true })).filter((name) => name.endsWith('.jpg'));
    for (const file of pictures) {
      const isAside = file.startsWith('set-aside');
      // The small pictures of all frames on one sheet.
      if (!isAside && record.frames.every((frame) => frame.file !== file)) {
        if (file !== CONTACT_SHEET) find('doubled', `${file} is no frame of it.`);
        continue;
      }
      const { sha256 } = await checksumOf(path.join(folder, file));
      const places = this.places.get(sha256) ?? [];
      this.places.set(sha256, [...places, { set: ordinal, file, isFrame: !isAside }]);
      if (isAside) continue;
      const { exposureTime } = await readRecorded(path.join(folder, file));
      const tv = Math.round((recordedTv(exposureTime) ?? Number.NaN) * 6);
      const frame = record.frames.find((one) => one.file === file);
      const wanted = BASE_TV - (frame?.offset ?? Number.NaN) * 6;
      if (tv !== wanted) find('wrong', `${file} was ${exposureTime} s.`);
      const other = times.get(tv);
      if (other !== undefined) find('doubled', `${file} and ${other} have one offset.`);
      times.set(tv, file);
      const { book } = this.asked;
      const shot = book?.shots.find((one) => one.sha256 === sha256);
      if (book === null) continue;
      if (shot === undefined) find('wrong', `${file}: the shutter never made it.`);
      else if (shot.tv !== wanted) find('wrong', `${file}: the shutter made it at Tv ${shot.tv}/6.`);
      else if (shot.at < Date.parse(startedAt) - BELIEVED_MS)
        find('wrong', `${file} was made before the set was begun.`);
    }
  }

  // --- all pictures

  private doubles(): void {
    for (const places of this.places.values()) {
      const frames = places.filter(({ isFrame }) => isFrame);
      // A file that came twice is a frame, and set aside.
      if (frames.length <= 1) continue;
      const list = frames.map(({ set, file }) => `${file} of set ${set}`).join(', ');
      this.find('doubled', `One picture is in several places: ${list}.`);
    }
  }

  /** Every release is accounted for: a frame, a file that was set aside, or one that may be on the card only. */
  private shots({ id, ordinal, startedAt }: ListedSet, next: ListedSet | null): void {
    const { book, journal } = this.asked;
    if (book === null) return;
    const to = next === null ? Number.POSITIVE_INFINITY : Date.parse(next.startedAt);
    const own = book.shots.filter(({ at }) => at >= Date.parse(startedAt) && at < to);
    const left = own.filter(({ sha256 }) => !this.places.has(sha256));
    const set = journal.set(id);
    const known = new Set(book.shots.map(({ sha256 }) => sha256));
    // Files that were set aside and differ from what the body made were cut short on their way.
    const damaged = [...this.places].filter(
      ([sha256, places]) => !known.has(sha256) && places.some((place) => place.set === ordinal),
    ).length;
    const told = (set?.strays.length ?? 0) + damaged;
    if (left.length > told)
      this.find(
        'lost',
        `Set ${ordinal}: ${own.length} were fired, ${left.length} of them are nowhere, and it tells of ${told}.`,
      );
  }

  private before([first]: readonly ListedSet[]): void {
    const from = first === undefined ? Number.POSITIVE_INFINITY : Date.parse(first.startedAt);
    const shots = this.asked.book?.shots.filter(({ at }) => at < from).length ?? 0;
    if (shots > 0) this.find('lost', `${shots} were fired before any set.`);
  }
}

/** @returns what journal and record say differently */
function disagreements(
  set: StoredSet,
  record: KeptSetRecord,
): [what: string, kept: string, recorded: string][] {
  const frameOf = (
    view: StoredSet['frames'][number]['view'],
    sha256: string | null,
    bytes: number | null,
  ) => {
    const { number, offset, state, attempts, file, reason, recorded } = view;
    return { number, offset, state, attempts, file, reason, recorded, sha256, bytes };
  };
  const pairs: [string, unknown, unknown][] = [
    ['id', set.id, record.id],
    ['run', set.run, record.run],
    ['ordinal', set.ordinal, record.setNumber],
    ['name', set.name, record.name],
    ['complete', set.state === 'complete', record.complete],
    ['sentence', set.sentence, record.sentence],
    ['started', set.startedAt, record.startedAt],
    ['set aside', set.asides.map(({ file }) => file).sort(), record.setAside.map(({ file }) => file).sort()],
    ['strays', set.strays.length, record.strays.length],
    ...set.frames.map(({ view, sha256, bytes }, index): [string, unknown, unknown] => {
      const frame = record.frames[index];
      if (frame === undefined) return [`frame ${view.number}`, view.state, 'nothing'];
      const { exposureTime = null, fNumber = null, iso = null, bias = null } = frame.recorded ?? {};
      const recorded = frame.recorded === null ? null : { exposureTime, fNumber, iso, bias };
      const isThere = view.state === 'verified';
      return [
        `frame ${view.number}`,
        frameOf(view, isThere ? sha256 : null, isThere ? bytes : null),
        {
          ...frameOf(
            { ...view, ...frame, recorded },
            isThere ? frame.sha256 : null,
            isThere ? frame.bytes : null,
          ),
        },
      ];
    }),
  ];
  return pairs
    .filter(([, kept, recorded]) => !isDeepStrictEqual(kept, recorded))
    .map(([what, kept, recorded]) => [what, JSON.stringify(kept), JSON.stringify(recorded)]);
}
