/*
 * Writes the sensor description of ../README.md. Fields are in the units of the wire, so that no floating point is needed.
 */
#ifndef IMU_DESCRIPTION_H
#define IMU_DESCRIPTION_H

#include <stdint.h>

#define IMU_DESCRIPTION_VERSION 1U
#define IMU_DESCRIPTION_BYTES 68U

struct imu_description {
    uint8_t sensor_id[16];
    uint32_t tick_unit_ps;
    uint32_t accel_rate_millihertz;
    /* 0 without gyroscope, as are its scale and range. */
    uint32_t gyro_rate_millihertz;
    uint32_t accel_scale_nano_g;
    uint32_t gyro_scale_nano_dps;
    uint32_t accel_range_milli_g;
    uint32_t gyro_range_milli_dps;
    uint32_t filter_delay_us;
    int8_t accel_axes[3];
    int8_t gyro_axes[3];
    uint8_t placement;
    uint8_t firmware_version[3];
};

void imu_description_write(const struct imu_description *description, uint8_t bytes[IMU_DESCRIPTION_BYTES]);

#endif
