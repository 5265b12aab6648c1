/** Number types that a device profile may name. */
const table = {
  int8: { bytes: 1, read: (view: DataView, at: number) => view.getInt8(at) },
  uint8: { bytes: 1, read: (view: DataView, at: number) => view.getUint8(at) },
  int16: { bytes: 2, read: (view: DataView, at: number, little: boolean) => view.getInt16(at, little) },
  uint16: { bytes: 2, read: (view: DataView, at: number, little: boolean) => view.getUint16(at, little) },
  int32: { bytes: 4, read: (view: DataView, at: number, little: boolean) => view.getInt32(at, little) },
  uint32: { bytes: 4, read: (view: DataView, at: number, little: boolean) => view.getUint32(at, little) },
  float32: { bytes: 4, read: (view: DataView, at: number, little: boolean) => view.getFloat32(at, little) },
  float64: { bytes: 8, read: (view: DataView, at: number, little: boolean) => view.getFloat64(at, little) },
} as const;

export type NumberType = keyof typeof table;

export const numberTypes = {
  names: Object.keys(table) as readonly NumberType[],
  bytesOf: (type: NumberType): number => table[type].bytes,
  isUnsigned: (type: NumberType): boolean => type.startsWith('uint'),
  isFloat: (type: NumberType): boolean => type.startsWith('float'),
  /** Whether every value of the type is a raw number of the stream format as it is. */
  passesThrough: (type: NumberType): boolean => type === 'int16' || type === 'int8' || type === 'uint8',
  /** Greatest value of a type that passes through. */
  greatest: (type: NumberType): number => (type === 'int16' ? 32_767 : type === 'int8' ? 127 : 255),
  /** @returns the number at a place that lies within the view. */
  read: (view: DataView, at: number, type: NumberType, littleEndian: boolean): number =>
    table[type].read(view, at, littleEndian),
} as const;
