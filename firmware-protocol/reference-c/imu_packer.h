/*
 * Packs raw rows of a sensor into notifications, both forms, as ../README.md lays them out.
 *
 *     imu_packer_start(&packer, start_number, 6, 833000, att_mtu);
 *     on every row:   n = imu_packer_push(&packer, tick, row);
 *                     if (n > 0) notify(packer.bytes, n);
 *     on stopping:    n = imu_packer_flush(&packer);
 *
 * A notification that the radio's queue refuses is simply not sent: its sequence number and its rows have been counted, so
 * that the host sees what is missing. One packer for each connection; not to be shared between an interrupt and the main
 * loop. No allocation, no floating point; at most one row's worth of work in a call, plus one checksum when a packet is full.
 */
#ifndef IMU_PACKER_H
#define IMU_PACKER_H

#include <stdint.h>

#define IMU_STREAM_VERSION 1U
#define IMU_FULL_HEADER_BYTES 16U
#define IMU_SHORT_HEADER_BYTES 8U
#define IMU_MAX_NOTIFICATION_BYTES 244U
#define IMU_MAX_AXES 6U
/* A packet spans 25 ms at most: 1000 mHz / 40000 is a row in 40 s, as it were. */
#define IMU_MILLIHERTZ_PER_ROW 40000U

struct imu_packer {
    /* The notification; whole after a call that returned its length, until the next call. */
    uint8_t bytes[IMU_MAX_NOTIFICATION_BYTES];
    uint8_t axes;
    uint8_t short_form;
    uint8_t start_number;
    uint8_t rows_a_packet;
    /* Rows in `bytes` so far. */
    uint8_t rows;
    uint16_t sequence;
    uint32_t sample_index;
    /* Tick of the first row in `bytes`. */
    uint32_t tick;
};

/* How many rows of `axes` numbers a notification takes at this rate and ATT MTU; 1 where only the short form fits. */
uint8_t imu_rows_a_packet(uint8_t axes, uint32_t rate_millihertz, uint16_t att_mtu);

/*
 * Begins a start: all counters at 0. `start_number` must differ from the one before. `axes` is 6 (accelerometer and
 * gyroscope) or 3 (accelerometer alone). The form follows from the ATT MTU; when that changes, start again.
 */
void imu_packer_start(struct imu_packer *packer, uint8_t start_number, uint8_t axes, uint32_t rate_millihertz,
                      uint16_t att_mtu);

/*
 * Takes one row, ax ay az gx gy gz (or ax ay az), raw, with the device tick at which it was taken.
 * Returns the length of the notification that is full now, or 0.
 */
uint8_t imu_packer_push(struct imu_packer *packer, uint32_t tick, const int16_t *row);

/* Ends a packet that is partly filled. Returns its length, or 0 where there is none. */
uint8_t imu_packer_flush(struct imu_packer *packer);

/*
 * Counts rows that were taken and are lost, such as those that ran over in the chip's own FIFO. Flush first: rows before and
 * after a loss cannot share a packet. Rows still waiting here are lost with them.
 */
void imu_packer_skip(struct imu_packer *packer, uint32_t rows);

#endif
