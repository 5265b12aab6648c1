/*
 * States and control characteristic of a sensor, as ../gatt.md lays them out.
 *
 * The Bluetooth stack's events go in (connected, subscribed, written, disconnected); what the hardware has to do comes out
 * through `struct imu_port`. Nothing here blocks, allocates or keeps a pointer to a write's bytes.
 */
#ifndef IMU_CONTROL_H
#define IMU_CONTROL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define IMU_CONTROL_VERSION 1U
#define IMU_CONTROL_MAX_REQUEST_BYTES 20U
#define IMU_CONTROL_ANSWER_BYTES 20U
#define IMU_MAX_IDENTIFY_SECONDS 60U

struct imu_settings {
    uint32_t rate_millihertz;
    uint32_t accel_range_milli_g;
    /* 0 without gyroscope. */
    uint32_t gyro_range_milli_dps;
    uint8_t placement;
};

/* Values that the chip offers, each list rising. They must outlive the control. */
struct imu_offer {
    const uint32_t *rates_millihertz;
    size_t rate_count;
    const uint32_t *accel_ranges_milli_g;
    size_t accel_range_count;
    const uint32_t *gyro_ranges_milli_dps;
    size_t gyro_range_count;
};

/* What the hardware does. A function returns false where it could not; nothing counts as changed then. */
struct imu_port {
    void *context;
    /* Sets rate and ranges in the chip; the description must say them from now on. Never called while streaming. */
    bool (*apply)(void *context, const struct imu_settings *settings);
    /* Keeps the placement over a power-off. */
    bool (*remember_placement)(void *context, uint8_t placement);
    /* Begins to sample: imu_packer_start with this start number. */
    bool (*start)(void *context, uint8_t start_number);
    void (*stop)(void *context);
    /* Blinks for so many seconds, 0 ends it; NULL where there is nothing to show. */
    bool (*identify)(void *context, uint8_t seconds);
};

struct imu_control {
    struct imu_settings settings;
    struct imu_offer offer;
    struct imu_port port;
    bool connected;
    bool subscribed;
    bool streaming;
    uint8_t next_start_number;
    uint8_t answered_request;
    uint8_t answered_number;
    uint8_t status;
};

/* `first_start_number` is one more than the last one where that is remembered, else drawn at random. */
void imu_control_init(struct imu_control *control, const struct imu_settings *settings, const struct imu_offer *offer,
                      const struct imu_port *port, uint8_t first_start_number);

void imu_control_connected(struct imu_control *control);
void imu_control_disconnected(struct imu_control *control);
/* The CCC descriptor of the stream was written. Where the start failed, the stream stays idle; the host sees it in the answer. */
void imu_control_subscribed(struct imu_control *control, bool subscribed);
/* The control characteristic was written: confirm the write afterwards, whatever it was. */
void imu_control_write(struct imu_control *control, const uint8_t *bytes, size_t length);
/* The control characteristic is read. */
void imu_control_read(const struct imu_control *control, uint8_t answer[IMU_CONTROL_ANSWER_BYTES]);

#endif
