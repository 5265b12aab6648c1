import path from 'node:path';
import { type Command, Option } from 'commander';
import { systemClock } from '../../devices/system-clock.ts';
import { silentLogger } from '../../foundation/logger.ts';
import type { MeasuredNull } from '../../foundation/measured.ts';
import { openDataFolder } from '../../server/data-folder.ts';
import { keepSpinReference, spinReferenceFile } from '../../server/spin-references.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import type {
  KeptSpinReference,
  SpinOrigin,
  SpinPlayer,
  WristCalibrationStore,
} from '../../sessions/wrist-calibration/wrist-calibration-store.ts';
import { type ArmMount, armMounts } from '../../shots/shot.ts';
import { spinGain, spinModel } from '../../shots/wrist/backspin.ts';
import { numberWithin, wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';
import { layOutTable } from '../table/text-width.ts';
import { UsageError } from '../usage-error.ts';
import { type PairedRecording, pairRecording } from './pair-recording.ts';
import { spinPlayerOf } from './spin-player.ts';

interface AddWords {
  readonly mount: ArmMount;
  readonly snap: number;
  readonly snapError?: number;
  readonly revolutions?: number;
  readonly frames?: number;
  readonly frameRate?: number;
  readonly countError?: number;
  readonly spin?: number;
  readonly spinError?: number;
}

const degrees = 180 / Math.PI;

/** Adds `spin-reference` to the program: reference shots from which a sensor on the arm learns a player's backspin. */
export function addSpinReferenceCommand(program: Command, surroundings: Surroundings): void {
  const command = program
    .command('spin-reference')
    .summary("reference shots that teach a sensor on the arm a player's backspin")
    .description(
      'A sensor on the arm knows the snap of the hand, not the spin of the ball. Some ten shots of a player whose spin is ' +
        'known teach it the one from the other: counted on slow-motion video, or measured by a sensor in the ball.',
    );
  command
    .command('list', { isDefault: true })
    .summary('list the reference shots')
    .argument('[player]', 'one player; all without')
    .option('--json', 'print JSON')
    .action(async (player: string | undefined, { json }: { json?: true }) => {
      const whose = player === undefined ? null : await playerOf(surroundings, player);
      await list(storeOf(surroundings), surroundings, whose, json === true);
    });
  command
    .command('add')
    .summary('add one reference shot')
    .argument('<player>', 'name or id of the player')
    .addOption(
      new Option('--mount <where>', 'where on the arm the sensor is').choices([...armMounts]).makeOptionMandatory(),
    )
    .requiredOption('--snap <deg/s>', 'snap peak of the shot, as the analysis gives it', snapReader)
    .option('--snap-error <deg/s>', 'standard error of the snap; by default 3 % of it', snapReader)
    .option('--revolutions <n>', 'revolutions counted on the video', numberWithin(0, 100, 'revolutions', '1.5'))
    .option('--frames <n>', 'frames from the first to the last instant of the count', wholeNumberWithin(0, 100_000))
    .option('--frame-rate <Hz>', 'frames a second as the video was taken', numberWithin(0, 100_000, 'Hz', '240'))
    .option(
      '--count-error <n>',
      'standard error of the count, revolutions; by default an eighth',
      numberWithin(0, 2, 'revolutions', '0.125'),
    )
    .option('--spin <rev/s>', 'spin as a sensor in the ball had it', numberWithin(0, 100, 'rev/s', '2.1'))
    .option('--spin-error <rev/s>', 'its standard error', numberWithin(0, 100, 'rev/s', '0.02'))
    .action(async (player: string, words: AddWords) => {
      await add(storeOf(surroundings), surroundings, await playerOf(surroundings, player), words);
    });
  command
    .command('pair')
    .summary('add the shots that a sensor in the ball and one on the arm saw together')
    .argument('<player>', 'name or id of the player')
    .argument('<recording>', '.mcap recording of both sensors')
    .addOption(new Option('--mount <where>', 'where on the arm, if the sensor does not say so').choices([...armMounts]))
    .action(async (player: string, recording: string, { mount }: { mount?: ArmMount }) => {
      const whose = await playerOf(surroundings, player);
      await addPairs(storeOf(surroundings), surroundings, whose, await pairRecording(recording, mount ?? null));
    });
  command
    .command('clear')
    .summary('forget the reference shots of a player')
    .argument('<player>', 'name or id of the player')
    .action(async (player: string) => {
      const count = await storeOf(surroundings).clear(await playerOf(surroundings, player));
      surroundings.stdout.write(
        count === 0 ? `There are no reference shots of ${player}.\n` : `${shots(count)} of ${player} forgotten.\n`,
      );
    });
}

const snapReader = numberWithin(0, 20_000, 'deg/s', '1050');

function storeOf(surroundings: Surroundings): WristCalibrationStore {
  const { dataFolder } = surroundings.readConfig();
  openDataFolder(dataFolder, silentLogger);
  return new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile));
}

function playerOf(surroundings: Surroundings, word: string): Promise<SpinPlayer> {
  return spinPlayerOf(surroundings.readConfig().dataFolder, word);
}

async function add(
  store: WristCalibrationStore,
  surroundings: Surroundings,
  player: SpinPlayer,
  words: AddWords,
): Promise<void> {
  const answer = await keepSpinReference(
    store,
    player,
    { mount: words.mount, snapDegps: words.snap, snapErrorDegps: words.snapError, spin: spinOf(words) },
    systemClock,
  );
  if (answer.kind === 'refused') throw new UsageError(`the shot is no reference: ${answer.evidence}`);
  const { reference, count, gain, gainError } = answer;
  surroundings.stdout.write(
    `Kept: ${withError(reference.spinRps, reference.spinSdRps)} rev/s at a snap of ${Math.round(words.snap)} deg/s. ` +
      `${player.name} now has ${shots(count)}, gain ${withError(gain, gainError)}.\n`,
  );
}

async function addPairs(
  store: WristCalibrationStore,
  surroundings: Surroundings,
  player: SpinPlayer,
  { mount, pairs, alone }: PairedRecording,
): Promise<void> {
  let kept = 0;
  for (const { ballSensorId, ball, wrist } of pairs) {
    const { backspinRps: spin } = ball.measures;
    const { snapPeakDegps: snap } = wrist.measures;
    const say = (what: string): boolean =>
      surroundings.stdout.write(`Shot ${ball.index + 1} at ${ball.releaseS?.toFixed(2) ?? '?'} s: ${what}\n`);
    if (spin.value === null || snap.value === null) {
      say(`left out, no ${spin.value === null ? `spin (${spin.reason})` : `snap (${(snap as MeasuredNull).reason})`}`);
      continue;
    }
    const { value: spinRps } = spin;
    if ((await store.references(player)).some((one) => one.spinRps === spinRps && one.origin.kind === 'ball-sensor')) {
      say('left out, it is kept already');
      continue;
    }
    const answer = await keepSpinReference(
      store,
      player,
      {
        mount,
        snapDegps: snap.value,
        snapErrorDegps: snap.standardError,
        spin: {
          kind: 'ball-sensor',
          spinRps,
          spinErrorRps: spin.standardError,
          sensorId: ballSensorId,
          shotIndex: ball.index,
        },
      },
      systemClock,
    );
    if (answer.kind === 'refused') say(`refused, ${answer.evidence}`);
    else {
      kept++;
      say(`kept, ${withError(spinRps, spin.standardError)} rev/s at a snap of ${Math.round(snap.value)} deg/s`);
    }
  }
  surroundings.stdout.write(
    `${shots(kept)} kept of ${pairs.length} that both sensors saw; ${alone.ball} only in the ball, ${alone.wrist} only on the arm.\n`,
  );
}

/** @throws UsageError when it is not clear how the spin is known. */
function spinOf(words: AddWords) {
  const { revolutions, frames, frameRate, countError, spin, spinError } = words;
  const counts = [revolutions, frames, frameRate, countError].some((value) => value !== undefined);
  if (counts === (spin !== undefined || spinError !== undefined)) {
    throw new UsageError(
      'expected either a count, --revolutions --frames --frame-rate, or the spin from a sensor in the ball, --spin --spin-error',
    );
  }
  if (!counts) {
    if (spin === undefined || spinError === undefined) {
      throw new UsageError('expected --spin and --spin-error together');
    }
    return { kind: 'ball-sensor', spinRps: spin, spinErrorRps: spinError } as const;
  }
  if (revolutions === undefined || frames === undefined || frameRate === undefined) {
    throw new UsageError('expected --revolutions, --frames and --frame-rate together');
  }
  return { kind: 'counted', revolutions, frames, frameRateHz: frameRate, countError } as const;
}

async function list(
  store: WristCalibrationStore,
  surroundings: Surroundings,
  player: SpinPlayer | null,
  asJson: boolean,
): Promise<void> {
  const players = player === null ? await store.players() : [player];
  const rows: { player: string; reference: KeptSpinReference }[] = [];
  for (const one of players) {
    // By the name that the player has now; under the one of then the file has it.
    const { name } = one.id === null ? one : await playerOf(surroundings, one.id);
    const shown = name === one.id ? one.name : name;
    for (const reference of await store.references(one)) rows.push({ player: shown, reference });
  }
  if (asJson) {
    const document = rows.map(({ player: name, reference }) => ({ player: name, ...reference }));
    surroundings.stdout.write(`${JSON.stringify(document, null, 2)}\n`);
    return;
  }
  if (rows.length === 0) {
    surroundings.stdout.write(
      'No reference shots yet. "seamwise spin-reference add <player> --mount ... --snap ..." adds one.\n',
    );
    return;
  }
  const column = (title: string, cell: (row: (typeof rows)[number]) => string) => ({ title, cells: rows.map(cell) });
  const lines = layOutTable(
    column('player', (row) => row.player),
    [
      column('mount', ({ reference }) => reference.place),
      column('snap deg/s', ({ reference }) => String(Math.round(reference.snapRateRadps * degrees))),
      column('spin rev/s', ({ reference }) => withError(reference.spinRps, reference.spinSdRps)),
      column('known by', ({ reference }) => originText(reference.origin)),
    ],
    surroundings.widthColumns,
  );
  for (const name of new Set(rows.map((row) => row.player))) lines.push('', ...gainLines(name, rows));
  surroundings.stdout.write(`${lines.join('\n')}\n`);
}

function gainLines(player: string, rows: readonly { player: string; reference: KeptSpinReference }[]): string[] {
  const own = rows.filter((row) => row.player === player).map(({ reference }) => reference);
  return armMounts.flatMap((mount) => {
    const model = spinModel(mount, own);
    const { gain, standardError } = spinGain(model);
    const count = model.references.length;
    return count === 0 ? [] : [`${player}, ${mount}: gain ${withError(gain, standardError)} from ${shots(count)}`];
  });
}

function originText(origin: SpinOrigin): string {
  if (origin.kind === 'ball-sensor') return 'sensor in the ball';
  return `${origin.revolutions} rev in ${origin.frames} frames at ${origin.frameRateHz} Hz`;
}

function withError(value: number, standardError: number): string {
  return `${value.toFixed(2)} ± ${standardError.toFixed(2)}`;
}

function shots(count: number): string {
  return count === 1 ? '1 reference shot' : `${count} reference shots`;
}
