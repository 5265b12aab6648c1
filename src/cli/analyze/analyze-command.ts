import { type Command, Option } from 'commander';
import { type ArmMount, armMounts } from '../../shots/shot.ts';
import { addBallOptions, type BallWords, toBallSettings } from '../ball-options.ts';
import { numberWithin } from '../option-values.ts';
import { Progress } from '../progress.ts';
import type { Surroundings } from '../surroundings.ts';
import { analysisText } from '../table/analysis-text.ts';
import { analyzeFile } from './analyze-file.ts';

interface AnalyzeWords extends BallWords {
  readonly placement?: 'ball' | 'wrist';
  readonly mount?: ArmMount;
  readonly sensor?: string;
  readonly both?: true;
  readonly player?: string;
  readonly filterDelay?: number;
  readonly json?: true;
}

/** Adds `analyze <file>` to the program. */
export function addAnalyzeCommand(program: Command, surroundings: Surroundings): void {
  const command = program
    .command('analyze')
    .summary('find and measure the shots of a recording')
    .description(
      'Finds the shots of a recording and measures them. The recording is a CSV file with the header ' +
        't_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps, or a .mcap file that Seamwise wrote. Units stand in ' +
        'the names, so ax_g, gx_dps and t_ms work too; the gyro columns may be missing.',
    )
    .argument('<file>', 'recording, .csv or .mcap')
    .addOption(new Option('--placement <where>', 'where the sensor was; needed for CSV').choices(['ball', 'wrist']))
    .addOption(
      new Option('--mount <where>', 'where on the arm a sensor was worn, if known; otherwise found out').choices([
        ...armMounts,
      ]),
    );
  addBallOptions(command)
    .option('--sensor <id>', 'sensor to analyse, where a .mcap recording holds several')
    .option('--both', 'put a sensor in the ball and one on the arm together; done by itself where there is one of each')
    .option('--player <name>', 'whose reference shots to use for the backspin of a sensor on the arm')
    .option(
      '--filter-delay <ms>',
      "delay of the sensor's own low-pass filter, ms; for CSV, since a .mcap recording states it",
      numberWithin(0, 1000, 'ms', '2.5'),
    )
    .option('--json', 'print one JSON object (see "seamwise schema") instead of a table')
    .action(async (file: string, words: AnalyzeWords) => {
      const progress = new Progress(surroundings.stderr);
      try {
        const analysis = await analyzeFile(file, {
          settings: toBallSettings(words),
          placement: words.placement ?? null,
          mount: words.mount ?? null,
          sensorId: words.sensor ?? null,
          dataFolder: dataFolderOf(surroundings, words.player !== undefined),
          player: words.player ?? null,
          both: words.both === true,
          filterDelayS: words.filterDelay === undefined ? null : words.filterDelay / 1000,
          onProgress: (share) => progress.show(share),
        });
        progress.stop();
        const text = words.json
          ? `${JSON.stringify(analysis, null, 2)}\n`
          : analysisText(analysis, surroundings.widthColumns);
        surroundings.stdout.write(text);
      } finally {
        progress.stop();
      }
    });
}

/** A recording can be analysed without what the data folder knows, unless a player's reference shots are asked for. */
function dataFolderOf(surroundings: Surroundings, isNeeded: boolean): string | null {
  try {
    return surroundings.readConfig().dataFolder;
  } catch (error) {
    if (isNeeded) throw error;
    return null;
  }
}
