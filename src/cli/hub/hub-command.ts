import type { Command } from 'commander';
import type { Surroundings } from '../surroundings.ts';
import { addCourtCommands } from './court-commands.ts';
import { addMoveCommand } from './move-command.ts';
import { addWorkCommands } from './work-commands.ts';

/** Adds `hub`: what concerns several courts and the PostgreSQL database that they share. */
export function addHubCommand(program: Command, surroundings: Surroundings): void {
  const hub = program.command('hub').summary('several courts and the hub that they hand over to, on PostgreSQL');
  addCourtCommands(hub, surroundings);
  addMoveCommand(hub, surroundings);
  addWorkCommands(hub, surroundings);
}
