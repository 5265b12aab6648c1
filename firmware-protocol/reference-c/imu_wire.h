/*
 * Little-endian numbers and the two checksums of the stream format. Portable C99: no allocation, no floating point, no
 * assumption about the byte order of the machine.
 */
#ifndef IMU_WIRE_H
#define IMU_WIRE_H

#include <stddef.h>
#include <stdint.h>

#define IMU_CRC16_START 0xFFFFU
#define IMU_CRC8_START 0xFFU

/* CRC-16/IBM-3740 goes on from `crc` over `length` bytes. */
uint16_t imu_crc16(uint16_t crc, const uint8_t *bytes, size_t length);

/* Register of CRC-8/SAE-J1850; invert it at the end. */
uint8_t imu_crc8(uint8_t crc, const uint8_t *bytes, size_t length);

void imu_put_u16(uint8_t *to, uint16_t value);
void imu_put_u32(uint8_t *to, uint32_t value);
uint32_t imu_get_u32(const uint8_t *from);

#endif
