// The worker of this room, a program of its own beside the built program: looks at pictures, with less right to the processor than what
// fires. Ended from outside.
import os from 'node:os';
import { parentPort } from 'node:worker_threads';
import type { Answer, Answers, Question } from '../protocol.js';
import { Desk } from './desk.js';

/** On Linux this is of the calling thread alone; elsewhere a process would give way as a whole. */
if (process.platform === 'linux') {
  try {
    os.setPriority(0, Math.max(os.getPriority(0), os.constants.priority.PRIORITY_BELOW_NORMAL));
  } catch {
    // It is slower to give way then, and does the same.
  }
}

const desks = new Map<number, Desk>();

function deskOf(number: number): Desk {
  const desk = desks.get(number) ?? new Desk();
  desks.set(number, desk);
  return desk;
}

async function answerTo(question: Question): Promise<Answers[keyof Answers]> {
  const desk = deskOf(question.desk);
  switch (question.ask) {
    case 'look':
      return desk.look(question);
    case 'drop':
      desk.drop(question.number);
      return null;
    case 'coverage':
      return desk.coverage();
    case 'response':
      return desk.response();
    case 'merge-begin':
      desk.mergeBegin(question.response);
      return null;
    case 'merge-add':
      return desk.mergeAdd(question);
    case 'merge-end':
      return desk.mergeEnd(question.side, question.about);
    case 'clear':
      desks.delete(question.desk);
      return null;
    default:
      throw new Error('Nothing of the kind is done here.');
  }
}

let before: Promise<void> = Promise.resolve();

// One at a time, so that memory holds one picture at a time.
parentPort?.on('message', (question: Question) => {
  before = before.then(async () => {
    const { id } = question;
    let reply: Answer;
    try {
      reply = { id, answer: await answerTo(question) };
    } catch (cause) {
      reply = { id, error: cause instanceof Error ? cause.message : String(cause) };
    }
    parentPort?.postMessage(reply, handedOver(reply));
  });
});

/** The one answer that is large is not copied. */
function handedOver(reply: Answer): ArrayBuffer[] {
  if (!('answer' in reply) || reply.answer === null || !('radiance' in reply.answer)) return [];
  const { buffer, byteLength } = reply.answer.radiance;
  return buffer instanceof ArrayBuffer && buffer.byteLength === byteLength ? [buffer] : [];
}
