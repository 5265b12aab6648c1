#include "imu_packer.h"

#include "imu_wire.h"

#define SHORT_FLAG 0x10U
#define ACCEL_ONLY_FLAG 0x20U
#define ATT_HEADER_BYTES 3U

uint8_t imu_rows_a_packet(uint8_t axes, uint32_t rate_millihertz, uint16_t att_mtu)
{
    const uint32_t row_bytes = 2U * (uint32_t)axes;
    uint32_t room = att_mtu > ATT_HEADER_BYTES ? (uint32_t)att_mtu - ATT_HEADER_BYTES : 0U;
    if (room > IMU_MAX_NOTIFICATION_BYTES) {
        room = IMU_MAX_NOTIFICATION_BYTES;
    }
    uint32_t rows = room > IMU_FULL_HEADER_BYTES ? (room - IMU_FULL_HEADER_BYTES) / row_bytes : 0U;
    const uint32_t in_time = rate_millihertz / IMU_MILLIHERTZ_PER_ROW;
    if (rows > in_time) {
        rows = in_time;
    }
    return rows < 1U ? (uint8_t)1U : (uint8_t)rows;
}

void imu_packer_start(struct imu_packer *packer, uint8_t start_number, uint8_t axes, uint32_t rate_millihertz,
                      uint16_t att_mtu)
{
    packer->axes = axes == 3U ? (uint8_t)3U : (uint8_t)6U;
    const uint32_t least_full = ATT_HEADER_BYTES + IMU_FULL_HEADER_BYTES + 2U * (uint32_t)packer->axes;
    packer->short_form = (uint32_t)att_mtu < least_full ? (uint8_t)1U : (uint8_t)0U;
    packer->start_number = start_number;
    packer->rows_a_packet = imu_rows_a_packet(packer->axes, rate_millihertz, att_mtu);
    packer->rows = 0U;
    packer->sequence = 0U;
    packer->sample_index = 0U;
    packer->tick = 0U;
}

static uint8_t finish_short(struct imu_packer *packer)
{
    uint8_t *bytes = packer->bytes;
    const uint8_t length = (uint8_t)(IMU_SHORT_HEADER_BYTES + 2U * (uint32_t)packer->axes);
    bytes[0] = (uint8_t)(IMU_STREAM_VERSION | SHORT_FLAG | (packer->axes == 3U ? ACCEL_ONLY_FLAG : 0U));
    imu_put_u16(bytes + 2, packer->sequence);
    imu_put_u32(bytes + 4, packer->tick);
    const uint8_t crc = imu_crc8(imu_crc8(IMU_CRC8_START, bytes, 1U), bytes + 2, (size_t)length - 2U);
    bytes[1] = (uint8_t)(crc ^ 0xFFU);
    return length;
}

static uint8_t finish_full(struct imu_packer *packer)
{
    uint8_t *bytes = packer->bytes;
    const uint32_t row_bytes = 2U * (uint32_t)packer->axes * (uint32_t)packer->rows;
    bytes[0] = (uint8_t)(IMU_STREAM_VERSION | (packer->axes == 3U ? ACCEL_ONLY_FLAG : 0U));
    bytes[1] = packer->start_number;
    imu_put_u16(bytes + 2, packer->sequence);
    imu_put_u32(bytes + 4, packer->tick);
    imu_put_u32(bytes + 8, packer->sample_index);
    bytes[12] = packer->rows;
    bytes[13] = 0U;
    const uint16_t crc = imu_crc16(IMU_CRC16_START, bytes, 14U);
    imu_put_u16(bytes + 14, imu_crc16(crc, bytes + IMU_FULL_HEADER_BYTES, row_bytes));
    return (uint8_t)(IMU_FULL_HEADER_BYTES + row_bytes);
}

uint8_t imu_packer_push(struct imu_packer *packer, uint32_t tick, const int16_t *row)
{
    const uint32_t header = packer->short_form != 0U ? IMU_SHORT_HEADER_BYTES : IMU_FULL_HEADER_BYTES;
    uint8_t *to = packer->bytes + header + 2U * (uint32_t)packer->axes * (uint32_t)packer->rows;
    if (packer->rows == 0U) {
        packer->tick = tick;
    }
    for (uint32_t axis = 0; axis < packer->axes; axis++) {
        imu_put_u16(to + 2U * axis, (uint16_t)row[axis]);
    }
    packer->rows++;
    return packer->rows >= packer->rows_a_packet ? imu_packer_flush(packer) : (uint8_t)0U;
}

uint8_t imu_packer_flush(struct imu_packer *packer)
{
    if (packer->rows == 0U) {
        return 0U;
    }
    const uint8_t length = packer->short_form != 0U ? finish_short(packer) : finish_full(packer);
    packer->sequence = (uint16_t)(packer->sequence + 1U);
    packer->sample_index += packer->rows;
    packer->rows = 0U;
    return length;
}

void imu_packer_skip(struct imu_packer *packer, uint32_t rows)
{
    const uint32_t lost = rows + packer->rows;
    const uint32_t a_packet = packer->rows_a_packet;
    /* As many sequence numbers as the lost rows would have taken: the host then sees packets missing, not only rows. */
    const uint32_t packets = lost / a_packet + (lost % a_packet != 0U ? 1U : 0U);
    packer->rows = 0U;
    packer->sample_index += lost;
    packer->sequence = (uint16_t)(packer->sequence + packets);
}
