#include "imu_description.h"

#include "imu_wire.h"

void imu_description_write(const struct imu_description *description, uint8_t bytes[IMU_DESCRIPTION_BYTES])
{
    for (uint32_t at = 0; at < IMU_DESCRIPTION_BYTES; at++) {
        bytes[at] = 0U;
    }
    bytes[0] = IMU_DESCRIPTION_VERSION;
    bytes[1] = IMU_DESCRIPTION_BYTES;
    for (uint32_t at = 0; at < 16U; at++) {
        bytes[4U + at] = description->sensor_id[at];
    }
    imu_put_u32(bytes + 20, description->tick_unit_ps);
    imu_put_u32(bytes + 24, description->accel_rate_millihertz);
    imu_put_u32(bytes + 28, description->gyro_rate_millihertz);
    imu_put_u32(bytes + 32, description->accel_scale_nano_g);
    imu_put_u32(bytes + 36, description->gyro_scale_nano_dps);
    imu_put_u32(bytes + 40, description->accel_range_milli_g);
    imu_put_u32(bytes + 44, description->gyro_range_milli_dps);
    imu_put_u32(bytes + 48, description->filter_delay_us);
    for (uint32_t axis = 0; axis < 3U; axis++) {
        bytes[52U + axis] = (uint8_t)description->accel_axes[axis];
        bytes[55U + axis] = (uint8_t)description->gyro_axes[axis];
        bytes[60U + axis] = description->firmware_version[axis];
    }
    bytes[58] = description->placement;
    imu_put_u16(bytes + 66, imu_crc16(IMU_CRC16_START, bytes, 66U));
}
