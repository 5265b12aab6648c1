import type { Command } from 'commander';
import type { Surroundings } from '../surroundings.ts';
import { addMoveCommand } from './move-command.ts';

/** Adds `hub`: what concerns a PostgreSQL database that many courts share. */
export function addHubCommand(program: Command, surroundings: Surroundings): void {
  const hub = program.command('hub').summary('one database for many courts, on PostgreSQL');
  addMoveCommand(hub, surroundings);
}
