#include "imu_wire.h"

/* Half-byte tables: 32 + 16 bytes of flash, two look-ups a byte. */
static const uint16_t crc16_nibble[16] = {
    0x0000U, 0x1021U, 0x2042U, 0x3063U, 0x4084U, 0x50A5U, 0x60C6U, 0x70E7U,
    0x8108U, 0x9129U, 0xA14AU, 0xB16BU, 0xC18CU, 0xD1ADU, 0xE1CEU, 0xF1EFU,
};
static const uint8_t crc8_nibble[16] = {
    0x00U, 0x1DU, 0x3AU, 0x27U, 0x74U, 0x69U, 0x4EU, 0x53U, 0xE8U, 0xF5U, 0xD2U, 0xCFU, 0x9CU, 0x81U, 0xA6U, 0xBBU,
};

uint16_t imu_crc16(uint16_t crc, const uint8_t *bytes, size_t length)
{
    uint32_t value = crc;
    for (size_t at = 0; at < length; at++) {
        const uint32_t byte = bytes[at];
        value = ((value << 4) & 0xFFFFU) ^ crc16_nibble[((value >> 12) ^ (byte >> 4)) & 0x0FU];
        value = ((value << 4) & 0xFFFFU) ^ crc16_nibble[((value >> 12) ^ byte) & 0x0FU];
    }
    return (uint16_t)value;
}

uint8_t imu_crc8(uint8_t crc, const uint8_t *bytes, size_t length)
{
    uint32_t value = crc;
    for (size_t at = 0; at < length; at++) {
        value ^= bytes[at];
        value = ((value << 4) & 0xFFU) ^ crc8_nibble[value >> 4];
        value = ((value << 4) & 0xFFU) ^ crc8_nibble[value >> 4];
    }
    return (uint8_t)value;
}

void imu_put_u16(uint8_t *to, uint16_t value)
{
    to[0] = (uint8_t)(value & 0xFFU);
    to[1] = (uint8_t)(value >> 8);
}

void imu_put_u32(uint8_t *to, uint32_t value)
{
    imu_put_u16(to, (uint16_t)(value & 0xFFFFU));
    imu_put_u16(to + 2, (uint16_t)(value >> 16));
}

uint32_t imu_get_u32(const uint8_t *from)
{
    return (uint32_t)from[0] | ((uint32_t)from[1] << 8) | ((uint32_t)from[2] << 16) | ((uint32_t)from[3] << 24);
}
