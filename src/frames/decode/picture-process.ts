// The process that decodes pictures, a program of its own beside the built program: the memory that decoders
// take is given back when it ends, and a picture that brings a decoder down takes nothing else with it.
// Several pictures are decoded side by side. It ends with the channel.
import { EvenrungError } from '../../../shared/errors.js';
import type { Answers, Question, Reply } from './protocol.js';
import { workOn } from './work.js';

// Ctrl-C at the terminal is for the program that asks; it ends this one.
for (const signal of ['SIGINT', 'SIGTERM'] as const) process.on(signal, () => undefined);
process.on('disconnect', () => process.exit(0));

async function answerTo(question: Question): Promise<Answers[keyof Answers]> {
  try {
    return { done: await workOn(question) } as Answers[keyof Answers];
  } catch (cause) {
    if (!(cause instanceof EvenrungError)) throw cause;
    const { code, message, details } = cause;
    return { refused: { code, message, details } };
  }
}

process.on('message', (question: Question) => {
  const { id } = question;
  const say = (reply: Reply) => process.send?.(reply);
  answerTo(question).then(
    (answer) => say({ id, answer }),
    (cause: unknown) => say({ id, error: cause instanceof Error ? cause.message : String(cause) }),
  );
});
