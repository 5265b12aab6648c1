/*
 * Drives the C reference from a pipe, for the tests: frames of one command byte, a length (u16 little-endian) and that
 * many bytes come in on stdin; answers go out on stdout as a length (u16) and that many bytes.
 *
 *   K text                             both checksums: u16, u8
 *   D fields                           description, fields of the wire in the order of its document
 *   P axes u8, mtu u16, rate u32, start u8       starts the packer
 *   R tick u32, rows i16 ...           pushes one row; answers the notification, or nothing
 *   S rows u32                         skips rows
 *   F                                  flushes
 *   T sequence u16, index u32          sets the counters
 *   I first start number u8            a fresh control with the offer below
 *   C / X                              connected / disconnected
 *   U subscribed u8                    the CCC descriptor is written
 *   B broken u8                        bit 0: the chip refuses settings, bit 1: to start, bit 2: to blink, bit 3: to remember
 *   W bytes                            the control characteristic is written; answers what it reads then and the port's log
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "imu_control.h"
#include "imu_description.h"
#include "imu_packer.h"
#include "imu_wire.h"

static struct imu_packer packer;
static struct imu_control control;

/* What the port was asked since the last answer: a letter and its values each. */
static uint8_t port_log[1024];
static size_t port_log_length;
static uint8_t broken;

static void log_bytes(char letter, const uint8_t *bytes, size_t length)
{
    if (port_log_length + 1U + length > sizeof port_log) {
        abort();
    }
    port_log[port_log_length++] = (uint8_t)letter;
    memcpy(port_log + port_log_length, bytes, length);
    port_log_length += length;
}

static bool port_apply(void *context, const struct imu_settings *settings)
{
    uint8_t bytes[12];
    (void)context;
    imu_put_u32(bytes, settings->rate_millihertz);
    imu_put_u32(bytes + 4, settings->accel_range_milli_g);
    imu_put_u32(bytes + 8, settings->gyro_range_milli_dps);
    log_bytes('a', bytes, sizeof bytes);
    return (broken & 1U) == 0U;
}

static bool port_start(void *context, uint8_t start_number)
{
    (void)context;
    log_bytes('s', &start_number, 1U);
    return (broken & 2U) == 0U;
}

static void port_stop(void *context)
{
    (void)context;
    log_bytes('e', port_log, 0U);
}

static bool port_identify(void *context, uint8_t seconds)
{
    (void)context;
    log_bytes('i', &seconds, 1U);
    return (broken & 4U) == 0U;
}

static bool port_remember(void *context, uint8_t placement)
{
    (void)context;
    log_bytes('p', &placement, 1U);
    return (broken & 8U) == 0U;
}

static void answer(const uint8_t *bytes, size_t length)
{
    uint8_t head[2];
    imu_put_u16(head, (uint16_t)length);
    if (fwrite(head, 1U, 2U, stdout) != 2U || fwrite(bytes, 1U, length, stdout) != length) {
        exit(3);
    }
}

static uint16_t get_u16(const uint8_t *from)
{
    return (uint16_t)((uint32_t)from[0] | ((uint32_t)from[1] << 8));
}

static void begin_control(uint8_t first_start_number)
{
    static const uint32_t rates[] = {104000U, 208000U, 416000U, 833000U, 1666000U};
    static const uint32_t accel[] = {4000U, 8000U, 16000U, 32000U};
    static const uint32_t gyro[] = {500000U, 1000000U, 2000000U, 4000000U};
    const struct imu_settings settings = {833000U, 16000U, 2000000U, 1U};
    const struct imu_offer offer = {rates, 5U, accel, 4U, gyro, 4U};
    const struct imu_port port = {NULL, port_apply, port_remember, port_start, port_stop, port_identify};
    imu_control_init(&control, &settings, &offer, &port, first_start_number);
    port_log_length = 0U;
    broken = 0U;
}

static void describe(const uint8_t *fields)
{
    struct imu_description description;
    uint8_t bytes[IMU_DESCRIPTION_BYTES];
    memcpy(description.sensor_id, fields, 16U);
    description.tick_unit_ps = imu_get_u32(fields + 16);
    description.accel_rate_millihertz = imu_get_u32(fields + 20);
    description.gyro_rate_millihertz = imu_get_u32(fields + 24);
    description.accel_scale_nano_g = imu_get_u32(fields + 28);
    description.gyro_scale_nano_dps = imu_get_u32(fields + 32);
    description.accel_range_milli_g = imu_get_u32(fields + 36);
    description.gyro_range_milli_dps = imu_get_u32(fields + 40);
    description.filter_delay_us = imu_get_u32(fields + 44);
    memcpy(description.accel_axes, fields + 48, 3U);
    memcpy(description.gyro_axes, fields + 51, 3U);
    description.placement = fields[54];
    memcpy(description.firmware_version, fields + 55, 3U);
    imu_description_write(&description, bytes);
    answer(bytes, sizeof bytes);
}

static void push_row(const uint8_t *bytes, size_t length)
{
    int16_t row[IMU_MAX_AXES];
    if (length != 4U + 2U * (size_t)packer.axes) {
        exit(4);
    }
    for (size_t axis = 0; axis < packer.axes; axis++) {
        const uint16_t raw = get_u16(bytes + 4U + 2U * axis);
        memcpy(&row[axis], &raw, sizeof raw);
    }
    answer(packer.bytes, imu_packer_push(&packer, imu_get_u32(bytes), row));
}

static void write_control(const uint8_t *bytes, size_t length)
{
    uint8_t reply[IMU_CONTROL_ANSWER_BYTES + sizeof port_log];
    /* A copy of exactly this length, so that a read beyond its end is seen by the sanitizer. */
    uint8_t *own = malloc(length);
    if (own == NULL) {
        exit(5);
    }
    memcpy(own, bytes, length);
    imu_control_write(&control, own, length);
    free(own);
    imu_control_read(&control, reply);
    memcpy(reply + IMU_CONTROL_ANSWER_BYTES, port_log, port_log_length);
    answer(reply, IMU_CONTROL_ANSWER_BYTES + port_log_length);
    port_log_length = 0U;
}

static void checksums(const uint8_t *bytes, size_t length)
{
    uint8_t both[3];
    imu_put_u16(both, imu_crc16(IMU_CRC16_START, bytes, length));
    both[2] = (uint8_t)(imu_crc8(IMU_CRC8_START, bytes, length) ^ 0xFFU);
    answer(both, sizeof both);
}

static void run(int command, const uint8_t *bytes, size_t length)
{
    switch (command) {
    case 'K':
        checksums(bytes, length);
        break;
    case 'D':
        describe(bytes);
        break;
    case 'P':
        imu_packer_start(&packer, bytes[7], bytes[0], imu_get_u32(bytes + 3), get_u16(bytes + 1));
        break;
    case 'R':
        push_row(bytes, length);
        break;
    case 'S':
        imu_packer_skip(&packer, imu_get_u32(bytes));
        break;
    case 'F':
        answer(packer.bytes, imu_packer_flush(&packer));
        break;
    case 'T':
        packer.sequence = get_u16(bytes);
        packer.sample_index = imu_get_u32(bytes + 2);
        break;
    case 'I':
        begin_control(bytes[0]);
        break;
    case 'C':
        imu_control_connected(&control);
        break;
    case 'X':
        imu_control_disconnected(&control);
        break;
    case 'U':
        imu_control_subscribed(&control, bytes[0] != 0U);
        break;
    case 'B':
        broken = bytes[0];
        break;
    case 'W':
        write_control(bytes, length);
        break;
    default:
        exit(6);
    }
}

int main(void)
{
    static uint8_t head[3];
    static uint8_t bytes[1024];
    while (fread(head, 1U, 3U, stdin) == 3U) {
        const size_t length = get_u16(head + 1);
        if (length > sizeof bytes || fread(bytes, 1U, length, stdin) != length) {
            return 7;
        }
        run(head[0], bytes, length);
    }
    return fflush(stdout) == 0 ? 0 : 8;
}
