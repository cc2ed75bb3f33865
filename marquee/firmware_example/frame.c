#include "frame.h"
#include "trim.h"

uint8_t frame[MARQUEE_FRAME_BYTES];

/* Sums below are in uA in 32 bits. */
MARQUEE_ASSERT(frame_sum_fits, 0xFFFFFFFFUL / MARQUEE_LED_COUNT >= MARQUEE_LED_FULL_UA);
MARQUEE_ASSERT(led_product_fits, MARQUEE_LED_FULL_UA <= 500000UL);

static uint16_t scale; /* of every byte, in 256ths */

enum { AS_TRIMMED, AS_PLANNED, IN_HUE_CYCLE };

/* What a zone shows at a step of the hue cycle, and why. */
static uint8_t zone_colour(uint8_t zone, uint16_t hue_step, struct colour *out)
{
  uint8_t c, why = AS_PLANNED;
  out->global_code = MARQUEE_ZONE_GLOBAL(zone);
  for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
    out->code[c] = MARQUEE_ZONE_DRIVE(zone, c);
  }
#if MARQUEE_HUE_COUNT > 0
  if (MARQUEE_ZONE_MODE(zone) == MARQUEE_HUE_CYCLE) {
    why = IN_HUE_CYCLE;
    for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
      out->code[c] = MARQUEE_HUE_AT(hue_step, c);
    }
  }
#else
  (void)hue_step;
#endif
  return trim_colour(zone, out) ? AS_TRIMMED : why;
}

/* Upper estimate of what one LED draws, its dark current apart, in uA. */
static uint32_t led_ua(const struct colour *colour)
{
  uint32_t parts = 0, full = 255;
  uint8_t c;
  for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
    uint32_t part = colour->code[c] * MARQUEE_CHANNEL_UA_AT(c);
#if MARQUEE_LARGEST_ONLY
    parts = part > parts ? part : parts;
#else
    parts += part;
#endif
  }
#if MARQUEE_GLOBAL_BITS > 0
  parts *= colour->global_code;
  full *= (1u << MARQUEE_GLOBAL_BITS) - 1u;
#endif
  return (parts + full - 1u) / full;
}

/* The most one LED of a zone draws, over the whole hue cycle where it has one. */
static uint32_t zone_led_ua(uint8_t zone)
{
  struct colour colour;
  const uint8_t why = zone_colour(zone, 0, &colour);
  const uint16_t steps = why == IN_HUE_CYCLE ? MARQUEE_HUE_COUNT : 1u;
  uint32_t ua, most;
  uint16_t step;
  uint8_t c;
  for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
    if (why == AS_PLANNED && MARQUEE_ZONE_RAISED(zone, c) > 0u) {
      colour.code[c]++; /* as its brightest LEDs */
    }
  }
  most = led_ua(&colour);
  for (step = 1; step < steps; step++) {
    (void)zone_colour(zone, step, &colour);
    ua = led_ua(&colour);
    most = ua > most ? ua : most;
  }
  return most;
}

void hold_frame(uint8_t brightness)
{
  const uint32_t led_allowed = MARQUEE_LED_FULL_UA * MARQUEE_CAP_255 / 255u;
  const uint32_t all_allowed =
    MARQUEE_LIMIT_MA * 1000UL > MARQUEE_DARK_UA ? MARQUEE_LIMIT_MA * 1000UL - MARQUEE_DARK_UA : 0u;
  uint32_t largest = 0, total = 0, held = brightness ? brightness + 1u : 0u;
  uint8_t zone;
  for (zone = 0; zone < MARQUEE_ZONE_COUNT; zone++) {
    uint32_t ua = MARQUEE_ZONE_LEDS(zone) ? zone_led_ua(zone) : 0u;
    largest = ua > largest ? ua : largest;
    total += ua * MARQUEE_ZONE_LEDS(zone);
  }
  /* Divided by one 256th too much rather than too little, so that the result is never above the limit. */
  if (largest > led_allowed && led_allowed / (largest / 256u + 1u) < held) {
    held = led_allowed / (largest / 256u + 1u);
  }
  if (total > all_allowed && all_allowed / (total / 256u + 1u) < held) {
    held = all_allowed / (total / 256u + 1u);
  }
  scale = (uint16_t)held;
}

static void put_led(uint16_t led, const struct colour *colour)
{
  uint8_t *out = &frame[(uint32_t)led * LED_BYTES];
  uint8_t b;
#if MARQUEE_PROTOCOL == MARQUEE_CLOCKED
  *out++ = (uint8_t)(0xE0u | colour->global_code);
#endif
  for (b = 0; b < MARQUEE_CHANNEL_COUNT; b++) {
    *out++ = colour->code[MARQUEE_ORDER_AT(b)];
  }
}

/* One LED of a zone: codes are shared out over its LEDs, so that some get one code more, evenly spaced. */
static void put_zone_led(uint16_t led, uint8_t zone, const struct colour *base, uint32_t sum[])
{
  struct colour colour = *base;
  uint8_t c;
  for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
    uint16_t code = colour.code[c];
    if (sum) {
      sum[c] += MARQUEE_ZONE_RAISED(zone, c);
      if (sum[c] >= MARQUEE_ZONE_LEDS(zone)) {
        sum[c] -= MARQUEE_ZONE_LEDS(zone);
        code++;
      }
    }
    colour.code[c] = (uint8_t)((uint32_t)code * scale / 256u);
  }
  put_led(led, &colour);
}

void fill_frame(uint16_t hue_step)
{
  struct colour colour = {{0}, 0};
  uint32_t sum[MARQUEE_CHANNEL_COUNT];
  uint16_t i, run, last;
  uint8_t zone, c, why;
  for (i = 0; i < MARQUEE_LED_COUNT; i++) {
    put_led(i, &colour); /* dark, unless a run below says otherwise */
  }
  for (zone = 0; zone < MARQUEE_ZONE_COUNT; zone++) {
    why = zone_colour(zone, hue_step, &colour);
    for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
      sum[c] = MARQUEE_ZONE_START(zone, c);
    }
    last = (uint16_t)(MARQUEE_ZONE_FIRST_RUN(zone) + MARQUEE_ZONE_RUNS(zone));
    for (run = MARQUEE_ZONE_FIRST_RUN(zone); run < last; run++) {
      for (i = 0; i < MARQUEE_RUN_LEDS(run); i++) {
        put_zone_led((uint16_t)(MARQUEE_RUN_FIRST(run) + i), zone, &colour, why == AS_PLANNED ? sum : 0);
      }
    }
  }
}

void read_frame(uint16_t led, struct colour *shown)
{
  const uint8_t *in = &frame[(uint32_t)led * LED_BYTES];
  uint8_t b;
  shown->global_code = LED_HEAD ? (uint8_t)(*in & 0x1Fu) : 0u;
  for (b = 0; b < MARQUEE_CHANNEL_COUNT; b++) {
    shown->code[MARQUEE_ORDER_AT(b)] = in[LED_HEAD + b];
  }
}
