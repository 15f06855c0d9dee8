// What `--help` shows in addition to names and descriptions: the heading of each command and each option, and
// an example of each command. It does not change what they do.
import { type Command, Help, Option } from 'commander';

const FIRED = 'The set:';
const HOW = 'How it is shot:';
const WHEN = 'When:';
const FOLLOWS = 'Changes from set to set:';
const ASSUMED = 'Assumed for the plan:';
const WHERE = 'Camera and connection:';
const KEPT = 'Saved sets:';
const TOLD = 'Output and alarms:';
const HELP = 'More help:';

/** In the order of the help, from the top. */
const HEADINGS: readonly string[] = [FIRED, HOW, WHEN, FOLLOWS, ASSUMED, WHERE, KEPT, TOLD, HELP];

const OPTIONS: readonly (readonly [heading: string, names: string])[] = [
  [FIRED, 'frames from to span step base extend pass darker brighter longest despite-sun'],
  [FIRED, 'darkest brightest aperture iso files room-above room-below'],
  [HOW, 'mode release least settle'],
  [WHEN, 'delay every count until start place overrun stop-before-sunrise may-sleep patience resume'],
  [FOLLOWS, 'follow-light slowest fastest iso-least iso-most most-shift'],
  [FOLLOWS, 'follow-span frames-fewest frames-most frames-change'],
  [ASSUMED, 'max-frames body-steps comp-range shutter-range in-one-go'],
  [ASSUMED, 'hand-held mains light-rate noise-reduction file-size'],
  [WHERE, 'body camera link set-clock at port lan lan-port lan-plain role fingerprint'],
  [KEPT, 'into name note viewpoint frame-name set-name only'],
  [TOLD, 'on-halt webhook limit all log json'],
];

const COMMANDS: readonly (readonly [heading: string, paths: readonly string[]])[] = [
  [FIRED, ['plan', 'sound', 'fire', 'sets reshoot', 'sets complete', 'sets extend']],
  [WHEN, ['schedule', 'run', 'run stop', 'run pause', 'run resume']],
  [WHERE, ['serve', 'cameras', 'learn', 'pair']],
  [WHERE, ['devices', 'devices list', 'devices pair', 'devices remove']],
  [KEPT, ['sets', 'sets show', 'sets check', 'sets export', 'sets fetch']],
];

/** By the path of the command: its purpose, and what to type. */
const EXAMPLES: Readonly<Record<string, readonly [purpose: string, typed: string]>> = {
  '': [
    'nine frames a stop apart, dark beams and bright lake',
    'evenrung fire --frames 9 --step 1 --base 1/60 --into ~/boathouse',
  ],
  plan: ['how nine frames a stop apart would be fired', 'evenrung plan --frames 9 --step 1 --base 1/60'],
  sound: ['find the set that holds beams and lake, a stop apart', 'evenrung sound --step 1'],
  fire: [
    'from four stops darker to four brighter',
    'evenrung fire --from -4 --to 4 --step 1 --base 1/60 --name boathouse --into ~/boathouse',
  ],
  schedule: [
    'a set every four minutes from sunset on, sixty of them',
    'evenrung schedule --frames 9 --step 1 --every 4min --count 60 --start sunset --place "47.5N 8.5E"',
  ],
  run: ['pause while someone walks through the boathouse', 'evenrung run pause'],
  'run stop': ['end what this computer is shooting', 'evenrung run stop'],
  'run pause': ['let a boat pass in front of the doors', 'evenrung run pause'],
  'run resume': ['the boat has passed', 'evenrung run resume'],
  serve: ['sets go to a folder of their own, phones may pair', 'evenrung serve --into ~/boathouse --lan'],
  cameras: ['look at the camera before the light goes', 'evenrung cameras --mode manual'],
  learn: ['once for each camera, without long exposures', 'evenrung learn --longest 0'],
  devices: ['which phones are paired', 'evenrung devices list'],
  'devices list': ['which phones are paired', 'evenrung devices list'],
  'devices pair': ['a tablet that may only watch', 'evenrung devices pair --role watch'],
  'devices remove': ['the tablet, by the beginning of its id', 'evenrung devices remove 7c41'],
  pair: [
    'let this computer in at the laptop in the boathouse',
    "evenrung pair 'https://192.0.2.7:4161/#pair=SECRET'",
  ],
  sets: ['the five newest sets', 'evenrung sets --limit 5'],
  'sets show': ['one set with all its steps', 'evenrung sets show 3f2a --log'],
  'sets check': ['all set folders of that evening', 'evenrung sets check ~/boathouse'],
  'sets export': ['a copy on another disk', 'evenrung sets export 3f2a --into /media/disk'],
  'sets reshoot': ['someone walked through two frames', 'evenrung sets reshoot 3f2a --frames 3,4'],
  'sets complete': ['shoot the frames that a pulled cable cost', 'evenrung sets complete 3f2a'],
  'sets extend': ['the lake is still burnt out: two darker frames', 'evenrung sets extend 3f2a --darker 2'],
  'sets fetch': ['the cable was pulled before the files came', 'evenrung sets fetch 3f2a'],
};

/** Comes before the commands are added: they take it over. */
export function beginHelp(program: Command): void {
  program.addHelpOption(new Option('-h, --help', 'show this help').helpGroup(TOLD)).configureHelp({
    // Aliases are former names: scripts may use them, and nobody has to learn them.
    subcommandTerm: (command) => withoutAlias(new Help().subcommandTerm(command), command),
    commandUsage: (command) => withoutAlias(new Help().commandUsage(command), command),
    groupItems: (all, shown, headingOf) =>
      new Map(
        [...new Help().groupItems(all, shown, headingOf)].sort(
          ([one], [other]) => HEADINGS.indexOf(one) - HEADINGS.indexOf(other),
        ),
      ),
  });
}

const withoutAlias = (term: string, command: Command): string => term.replace(`|${command.alias()}`, '');

/** Comes after all commands were added. */
export function arrangeHelp(command: Command, path: readonly string[] = []): void {
  const name = path.join(' ');
  const heading = COMMANDS.find(([, paths]) => paths.includes(name))?.[0];
  if (heading !== undefined) command.helpGroup(heading);
  for (const option of command.options) {
    // There it is the name of this computer, elsewhere that of a set.
    const group = name === 'pair' && option.long === '--name' ? WHERE : headingOfOption(option);
    if (group !== undefined) option.helpGroup(group);
  }
  const example = EXAMPLES[name];
  if (example !== undefined)
    command.addHelpText('after', `\nExample (invented): ${example[0]}\n  ${example[1]}`);
  if (command.commands.length > 0)
    command.commandsGroup(HELP).helpCommand('help [command]', 'show the help of a command');
  // For the version, which is added last.
  command.optionsGroup(TOLD);
  for (const child of command.commands) arrangeHelp(child, [...path, child.name()]);
}

function headingOfOption({ long }: Option): string | undefined {
  const name = long?.replace(/^--/, '') ?? '';
  return OPTIONS.find(([, names]) => names.split(' ').includes(name))?.[0];
}
