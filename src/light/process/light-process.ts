// The process that looks at pictures, a program of its own beside the built program: its memory is given back
// when it ends, a picture that brings a decoder down takes nothing else with it, and all of it has less right
// to the processor than the code that fires. It ends with the channel.
import type { Answer, Answers, Question } from '../protocol.js';
import { Desk } from './desk.js';

// Ctrl-C at the terminal is for the program that asks; it ends this one.
for (const signal of ['SIGINT', 'SIGTERM'] as const) process.on(signal, () => undefined);
process.on('disconnect', () => process.exit(0));

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
    case 'ends':
      return desk.ends(question.at);
    case 'response':
      return desk.response();
    case 'merge-begin':
      desk.mergeBegin(question.response);
      return null;
    case 'merge-add':
      return desk.mergeAdd(question);
    case 'merge-end':
      return desk.mergeEnd(question);
    case 'clear':
      desks.delete(question.desk);
      return null;
    default:
      throw new Error('This process does no such work.');
  }
}

let before: Promise<void> = Promise.resolve();

// One at a time, so that memory holds one picture at a time.
process.on('message', (question: Question) => {
  before = before.then(async () => {
    const { id } = question;
    let reply: Answer;
    try {
      reply = { id, answer: await answerTo(question) };
    } catch (cause) {
      reply = { id, error: cause instanceof Error ? cause.message : String(cause) };
    }
    process.send?.(reply);
  });
});
