import { type Command, Option } from 'commander';
import { type BallSettings, defaultBallSettings } from '../shots/shot.ts';
import { numberWithin } from './option-values.ts';

/** What commander makes of the options about ball, hoop and spot. */
export interface BallWords {
  readonly distance?: number;
  readonly ball: '7' | '6' | '5';
  readonly hoop: number;
  readonly releaseHeight?: number;
}

/** Adds the options about ball, hoop and spot to a command. */
export function addBallOptions(command: Command): Command {
  return command
    .option('--distance <m>', 'floor distance from the feet to below the ring, m', numberWithin(0.5, 30, 'm', '4.6'))
    .addOption(new Option('--ball <size>', 'ball size').choices(['7', '6', '5']).default('7'))
    .option('--hoop <m>', 'height of the ring, m', numberWithin(1.5, 4, 'm', '3.05'), defaultBallSettings.hoopHeightM)
    .option(
      '--release-height <m>',
      'height of the ball at release above the floor, m',
      numberWithin(0.5, 4, 'm', '2.1'),
    );
}

/** @returns the settings that the options say. */
export function toBallSettings({ ball, hoop, releaseHeight, distance }: BallWords): BallSettings {
  return {
    ballSize: Number(ball) as 7 | 6 | 5,
    hoopHeightM: hoop,
    releaseHeightM: releaseHeight ?? null,
    distanceM: distance ?? null,
  };
}
