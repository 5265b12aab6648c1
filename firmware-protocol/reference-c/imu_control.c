#include "imu_control.h"

#include "imu_wire.h"

enum request { REQUEST_START = 1, REQUEST_STOP, REQUEST_RATE, REQUEST_RANGES, REQUEST_PLACEMENT, REQUEST_IDENTIFY };

enum status {
    STATUS_DONE,
    STATUS_MALFORMED,
    STATUS_UNKNOWN_VERSION,
    STATUS_UNKNOWN_REQUEST,
    STATUS_IMPOSSIBLE_VALUE,
    STATUS_WRONG_STATE,
    STATUS_FAILED
};

#define HEADER_BYTES 3U
#define LEAST_REQUEST_BYTES 4U
#define PLACEMENT_COUNT 4U
#define LEAST_RATE 1000U
#define GREATEST_RATE 10000000U
#define LEAST_ACCEL_RANGE 100U
#define GREATEST_ACCEL_RANGE 1000000U
#define LEAST_GYRO_RANGE 1000U
#define GREATEST_GYRO_RANGE 100000000U

void imu_control_init(struct imu_control *control, const struct imu_settings *settings, const struct imu_offer *offer,
                      const struct imu_port *port, uint8_t first_start_number)
{
    control->settings = *settings;
    control->offer = *offer;
    control->port = *port;
    control->connected = false;
    control->subscribed = false;
    control->streaming = false;
    control->next_start_number = first_start_number;
    control->answered_request = 0U;
    control->answered_number = 0U;
    control->status = STATUS_DONE;
}

static bool start_stream(struct imu_control *control)
{
    if (control->streaming) {
        return true;
    }
    if (!control->port.start(control->port.context, control->next_start_number)) {
        return false;
    }
    control->next_start_number = (uint8_t)(control->next_start_number + 1U);
    control->streaming = true;
    return true;
}

static void stop_stream(struct imu_control *control)
{
    if (control->streaming) {
        control->port.stop(control->port.context);
        control->streaming = false;
    }
}

void imu_control_connected(struct imu_control *control)
{
    control->connected = true;
    control->answered_request = 0U;
    control->answered_number = 0U;
    control->status = STATUS_DONE;
}

void imu_control_disconnected(struct imu_control *control)
{
    stop_stream(control);
    control->connected = false;
    control->subscribed = false;
}

void imu_control_subscribed(struct imu_control *control, bool subscribed)
{
    if (!control->connected) {
        return;
    }
    const bool fresh = subscribed && !control->subscribed;
    control->subscribed = subscribed;
    if (!subscribed) {
        stop_stream(control);
    } else if (fresh) {
        (void)start_stream(control);
    }
}

static bool within(uint32_t value, uint32_t least, uint32_t greatest)
{
    return value >= least && value <= greatest;
}

/* The slowest of the rates that is not more than 2 % slower than the wanted one; 0 where there is none. */
static uint32_t choose_rate(const struct imu_offer *offer, uint32_t wanted)
{
    const uint32_t least = wanted - wanted / 50U;
    for (size_t at = 0; at < offer->rate_count; at++) {
        if (offer->rates_millihertz[at] >= least) {
            return offer->rates_millihertz[at];
        }
    }
    return 0U;
}

/* The smallest of the ranges that is not smaller than the wanted one; 0 where there is none. */
static uint32_t choose_range(const uint32_t *ranges, size_t count, uint32_t wanted)
{
    for (size_t at = 0; at < count; at++) {
        if (ranges[at] >= wanted) {
            return ranges[at];
        }
    }
    return 0U;
}

static enum status apply(struct imu_control *control, const struct imu_settings *wanted)
{
    if (!control->port.apply(control->port.context, wanted)) {
        return STATUS_FAILED;
    }
    control->settings = *wanted;
    return STATUS_DONE;
}

static enum status set_rate(struct imu_control *control, const uint8_t *values)
{
    const uint32_t wanted = imu_get_u32(values);
    if (!within(wanted, LEAST_RATE, GREATEST_RATE)) {
        return STATUS_IMPOSSIBLE_VALUE;
    }
    if (control->streaming) {
        return STATUS_WRONG_STATE;
    }
    struct imu_settings settings = control->settings;
    settings.rate_millihertz = choose_rate(&control->offer, wanted);
    return settings.rate_millihertz == 0U ? STATUS_IMPOSSIBLE_VALUE : apply(control, &settings);
}

static enum status set_ranges(struct imu_control *control, const uint8_t *values)
{
    const uint32_t accel = imu_get_u32(values);
    const uint32_t gyro = imu_get_u32(values + 4);
    if (accel != 0U && !within(accel, LEAST_ACCEL_RANGE, GREATEST_ACCEL_RANGE)) {
        return STATUS_IMPOSSIBLE_VALUE;
    }
    if (gyro != 0U && !within(gyro, LEAST_GYRO_RANGE, GREATEST_GYRO_RANGE)) {
        return STATUS_IMPOSSIBLE_VALUE;
    }
    if (control->streaming) {
        return STATUS_WRONG_STATE;
    }
    const struct imu_offer *offer = &control->offer;
    struct imu_settings settings = control->settings;
    if (accel != 0U) {
        settings.accel_range_milli_g = choose_range(offer->accel_ranges_milli_g, offer->accel_range_count, accel);
        if (settings.accel_range_milli_g == 0U) {
            return STATUS_IMPOSSIBLE_VALUE;
        }
    }
    if (gyro != 0U) {
        settings.gyro_range_milli_dps = choose_range(offer->gyro_ranges_milli_dps, offer->gyro_range_count, gyro);
        if (settings.gyro_range_milli_dps == 0U) {
            return STATUS_IMPOSSIBLE_VALUE;
        }
    }
    return apply(control, &settings);
}

static enum status set_placement(struct imu_control *control, uint8_t placement)
{
    if (placement >= PLACEMENT_COUNT) {
        return STATUS_IMPOSSIBLE_VALUE;
    }
    if (!control->port.remember_placement(control->port.context, placement)) {
        return STATUS_FAILED;
    }
    control->settings.placement = placement;
    return STATUS_DONE;
}

static enum status identify(struct imu_control *control, uint8_t seconds)
{
    if (seconds > IMU_MAX_IDENTIFY_SECONDS || control->port.identify == NULL) {
        return STATUS_IMPOSSIBLE_VALUE;
    }
    return control->port.identify(control->port.context, seconds) ? STATUS_DONE : STATUS_FAILED;
}

static enum status start(struct imu_control *control)
{
    if (!control->subscribed) {
        return STATUS_WRONG_STATE;
    }
    return start_stream(control) ? STATUS_DONE : STATUS_FAILED;
}

/* Length of a request's values, or -1 for a request that there is not. */
static int value_bytes(uint8_t request)
{
    switch (request) {
    case REQUEST_START:
    case REQUEST_STOP:
        return 0;
    case REQUEST_RATE:
        return 4;
    case REQUEST_RANGES:
        return 8;
    case REQUEST_PLACEMENT:
    case REQUEST_IDENTIFY:
        return 1;
    default:
        return -1;
    }
}

static enum status handle(struct imu_control *control, const uint8_t *bytes, size_t length)
{
    if (length < LEAST_REQUEST_BYTES) {
        return STATUS_MALFORMED;
    }
    if (bytes[0] != IMU_CONTROL_VERSION) {
        return STATUS_UNKNOWN_VERSION;
    }
    if (length > IMU_CONTROL_MAX_REQUEST_BYTES) {
        return STATUS_MALFORMED;
    }
    const uint8_t checksum = (uint8_t)(imu_crc8(IMU_CRC8_START, bytes, length - 1U) ^ 0xFFU);
    if (checksum != bytes[length - 1U]) {
        return STATUS_MALFORMED;
    }
    const int values = value_bytes(bytes[1]);
    if (values < 0) {
        return STATUS_UNKNOWN_REQUEST;
    }
    if (length != HEADER_BYTES + (size_t)values + 1U || bytes[2] == 0U) {
        return STATUS_MALFORMED;
    }
    switch ((enum request)bytes[1]) {
    case REQUEST_START:
        return start(control);
    case REQUEST_STOP:
        stop_stream(control);
        return STATUS_DONE;
    case REQUEST_RATE:
        return set_rate(control, bytes + HEADER_BYTES);
    case REQUEST_RANGES:
        return set_ranges(control, bytes + HEADER_BYTES);
    case REQUEST_PLACEMENT:
        return set_placement(control, bytes[HEADER_BYTES]);
    case REQUEST_IDENTIFY:
        return identify(control, bytes[HEADER_BYTES]);
    }
    return STATUS_UNKNOWN_REQUEST;
}

void imu_control_write(struct imu_control *control, const uint8_t *bytes, size_t length)
{
    if (!control->connected) {
        return;
    }
    control->status = (uint8_t)handle(control, bytes, length);
    control->answered_request = length >= 2U ? bytes[1] : (uint8_t)0U;
    control->answered_number = length >= 3U ? bytes[2] : (uint8_t)0U;
}

void imu_control_read(const struct imu_control *control, uint8_t answer[IMU_CONTROL_ANSWER_BYTES])
{
    const struct imu_settings *settings = &control->settings;
    answer[0] = IMU_CONTROL_VERSION;
    answer[1] = control->answered_request;
    answer[2] = control->answered_number;
    answer[3] = control->status;
    answer[4] = control->streaming ? (uint8_t)1U : (uint8_t)0U;
    answer[5] = settings->placement;
    imu_put_u32(answer + 6, settings->rate_millihertz);
    imu_put_u32(answer + 10, settings->accel_range_milli_g);
    imu_put_u32(answer + 14, settings->gyro_range_milli_dps);
    answer[18] = 0U;
    answer[19] = (uint8_t)(imu_crc8(IMU_CRC8_START, answer, IMU_CONTROL_ANSWER_BYTES - 1U) ^ 0xFFU);
}
