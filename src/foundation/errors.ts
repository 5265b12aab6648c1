/**
 * Every code of a thrown error, with what it means. A code is never reused for anything else; each has its test.
 * Bad data from a sensor is not thrown: it is an event or a value with a reason.
 */
export const errorCodes = {
  'parameter-unknown': 'a parameter was given that the algorithm does not have',
  'parameter-outside': 'a parameter is outside its range or not a number',
  'notification-field': 'a value cannot be written into a notification',
  'description-field': 'a value cannot be written into a sensor description',
  'description-length': 'a sensor description is shorter than it has to be, or its length field disagrees with it',
  'description-version': 'a sensor description has a version that this program does not know',
  'description-reserved': 'a reserved field of a sensor description is not zero',
  'description-value': 'a field of a sensor description has a value that it cannot have',
  'description-checksum': 'a sensor description was damaged on its way',
  'control-field': 'a value cannot be written into a control message',
  'profile-text': 'a device profile is no JSON or too long',
  'profile-field': 'a field of a device profile has a value that it cannot have',
  'service-address': 'the service was asked to listen on an address that other machines can reach',
  'paired-devices-damaged': 'the list of paired devices cannot be read',
  'paired-devices-not-written': 'the list of paired devices cannot be written',
  'paired-devices-full': 'more devices than may be would be paired',
  'service-certificate': 'the certificate or the key of the service cannot be used',
  'service-port': 'the service cannot listen on its port',
  'data-folder': 'the folder of the data cannot be used',
  'data-folder-in-use': 'another service writes into the folder of the data',
  'frame-axes': 'frames and sensor description disagree about the axes',
  'recording-missing': 'there is no file of that name',
  'recording-not-a-file': 'a recording was expected and a directory or device was named',
  'recording-no-permission': 'a recording may not be read',
  'recording-read-failed': 'the operating system stopped the reading of a recording',
  'recording-empty': 'a recording has no bytes',
  'recording-binary': 'a CSV recording holds bytes that are no text',
  'recording-wide-text': 'a CSV recording is text of two bytes a character',
  'recording-old-line-ends': 'the lines of a CSV recording end in a carriage return alone',
  'recording-packed': 'a recording is packed (gzip or ZIP)',
  'recording-unsorted': 'the rows of a CSV recording do not stand in the order of their time',
  'recording-separator': 'the columns of a CSV recording are not separated by commas',
  'recording-header': 'the header of a CSV recording lacks columns, names them twice or has units that are not known',
  'recording-header-line': 'the line of a CSV recording where the header should stand is too long or no text',
  'mapping-file': 'a file that says which columns of a CSV recording are what cannot be used',
  'recording-no-usable-row': 'a CSV recording has no row that can be used',
  'recording-no-notification': 'a recording of notifications holds none that can be read',
  'recording-no-description': 'a recording of notifications holds no description of its sensor',
  'sensor-not-found': 'a sensor that was named is not in the air, or several answer to the name',
  'sensor-not-reached': 'a sensor that is in the air cannot be connected or understood',
  'calibration-unfinished': 'a calibration ended before it had a result',
  'calibration-file': 'the file of the calibrations of sensors cannot be used',
  'sensor-not-connected': 'something was asked of a sensor that is not connected',
  'sensor-id-twice': 'two devices in the air say that they are the same sensor',
  'sensor-cannot-identify': 'a sensor has nothing to show itself with',
  'output-not-written': 'a file that a command makes cannot be written',
  'recording-rate': 'the samples of a recording lie closer together or further apart than the analysis can use',
  'recording-unknown-sensor': 'a recording does not hold the sensor that was asked for',
  'database-unusable': 'the file of the database is no database or cannot be used',
  'database-version': 'another version of the program wrote the database',
  'database-address': 'an address of a database cannot be understood',
  'database-unreachable': 'the server of the database does not answer, or went away',
  'database-refused': 'the server of the database lets nobody in with this address, or is not the one that was meant',
  'database-right': 'the user of the database lacks a right',
  'club-not-moved': 'a club could not be moved to another database, which is left as it was',
  'store-missing': 'something that is not in the database was asked for',
  'store-value': 'a value cannot be stored',
  'store-taken': 'a name that has to be different is in use already',
  'hub-settings': 'what a court knows of its hub cannot be read, written or used',
  'reanalysis-failed': 'recordings could not be analysed again',
  'traces-left': 'something of a deleted player is left in a file',
  'no-session': 'something was asked of a practice while none runs',
  'no-consent': 'a player has not agreed to what is to be done',
  'export-removed': 'an export was removed, since somebody in it withdrew or was deleted',
  'key-refused': 'the key to an export was asked for by another device than the machine of the service',
  'upload-refused': 'a file that is being uploaded does not fit what was announced',
  'upload-too-large': 'files that are to be uploaded are larger than may be',
  'edit-final': 'a change is of a kind that is never undone',
  'edit-superseded': 'a change cannot be undone because of a later one',
  'statistic-input': 'a statistic was asked of numbers that cannot be',
  'spin-file-damaged': 'the file of reference shots for the backspin cannot be read',
  'spin-file-version': 'a newer version of the program wrote the file of reference shots',
  'spin-file-not-written': 'a reference shot could not be kept',
  'spin-player-name': 'a player cannot have this name in the file of reference shots',
} as const;

export type ErrorCode = keyof typeof errorCodes;

/** A thrown error with a stable code. The message says what was expected, what came, where, and what to do. */
export class SeamwiseError extends Error {
  readonly code: ErrorCode;

  constructor(code: ErrorCode, message: string) {
    super(message);
    this.name = 'SeamwiseError';
    this.code = code;
  }
}
