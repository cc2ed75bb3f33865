#include "trim.h"

/* Zones whose trimmed bytes are remembered; a sign with more can still trim these. */
#if MARQUEE_ZONE_COUNT > 32
#define TRIM_ZONES 32u
#else
#define TRIM_ZONES MARQUEE_ZONE_COUNT
#endif
#define LINE_LENGTH 24u
#define NO_ZONE 255u
/* Numbers after the '='. */
#define VALUES (MARQUEE_CHANNEL_COUNT + (MARQUEE_GLOBAL_BITS > 0 ? 1u : 0u))

static uint8_t is_on, line_length, too_long;
static uint8_t only = NO_ZONE, asked = NO_ZONE;
static uint8_t line[LINE_LENGTH + 1u];
static uint8_t is_trimmed[TRIM_ZONES];
static struct colour trimmed[TRIM_ZONES];

static const char HELLO[] MARQUEE_FLASH = "trim 1 zones ";
static const char CHANNELS[] MARQUEE_FLASH = " channels ";
static const char GLOBAL[] MARQUEE_FLASH = " global ";
static const char CRC[] MARQUEE_FLASH = " crc ";
static const char ERROR[] MARQUEE_FLASH = "error\n";
static const char RUN[] MARQUEE_FLASH = "run";
static const char ALL[] MARQUEE_FLASH = "all";
static const char ONLY[] MARQUEE_FLASH = "only ";

static void put_text(const char *text)
{
  uint8_t c;
  while ((c = (uint8_t)MARQUEE_GET8(text)) != 0u) {
    serial_put(c);
    text++;
  }
}

static void put_number(uint8_t number)
{
  if (number >= 100u) {
    serial_put((uint8_t)('0' + number / 100u));
  }
  if (number >= 10u) {
    serial_put((uint8_t)('0' + number / 10u % 10u));
  }
  serial_put((uint8_t)('0' + number % 10u));
}

static void put_hello(void)
{
  int8_t shift;
  put_text(HELLO);
  put_number((uint8_t)MARQUEE_ZONE_COUNT);
  put_text(CHANNELS);
  put_number((uint8_t)MARQUEE_CHANNEL_COUNT);
  put_text(GLOBAL);
  put_number((uint8_t)MARQUEE_GLOBAL_BITS);
  put_text(CRC);
  for (shift = 28; shift >= 0; shift = (int8_t)(shift - 4)) {
    uint8_t digit = (uint8_t)((MARQUEE_VALUES_CRC32 >> shift) & 15u);
    serial_put((uint8_t)(digit < 10u ? '0' + digit : 'A' + digit - 10));
  }
  serial_put('\n');
}

/* Whether the line begins with a word; moves past it. */
static uint8_t take_word(const uint8_t **at, const char *word)
{
  const uint8_t *p = *at;
  uint8_t c;
  while ((c = (uint8_t)MARQUEE_GET8(word)) != 0u) {
    if (*p != c) {
      return 0;
    }
    p++;
    word++;
  }
  *at = p;
  return 1;
}

/* A number from 0 to 255; moves past it. Returns 0 where there is none. */
static uint8_t take_number(const uint8_t **at, uint8_t *number)
{
  const uint8_t *p = *at;
  uint16_t value = 0;
  while (*p >= '0' && *p <= '9' && value < 256u) {
    value = (uint16_t)(value * 10u + (uint16_t)(*p++ - '0'));
  }
  if (p == *at || value > 255u) {
    return 0;
  }
  *at = p;
  *number = (uint8_t)value;
  return 1;
}

static uint8_t take_zone(const uint8_t **at, uint8_t *zone)
{
  return take_number(at, zone) && *zone < TRIM_ZONES && MARQUEE_ZONE_LEDS(*zone) > 0u;
}

static uint8_t take_colour(const uint8_t **at, struct colour *colour)
{
  uint8_t i, value;
  colour->global_code = 0;
  for (i = 0; i < VALUES; i++) {
    if (*(*at)++ != (i == 0u ? '=' : ',') || !take_number(at, &value)) {
      return 0;
    }
    if (i < MARQUEE_CHANNEL_COUNT) {
      colour->code[i] = value;
    } else if (value < 1u << MARQUEE_GLOBAL_BITS) {
      colour->global_code = value;
    } else {
      return 0;
    }
  }
  return **at == 0u;
}

static void forget(void)
{
  uint8_t zone;
  for (zone = 0; zone < TRIM_ZONES; zone++) {
    is_trimmed[zone] = 0;
  }
  only = NO_ZONE;
  is_on = 0;
}

static enum trim_event obey(void)
{
  const uint8_t *at = line;
  struct colour colour;
  uint8_t zone;
  asked = NO_ZONE;
  if (take_word(&at, ALL) && *at == 0u) {
    only = NO_ZONE;
    return TRIM_SHOW;
  }
  at = line;
  if (take_word(&at, RUN) && *at == 0u) {
    forget();
    return TRIM_SHOW;
  }
  at = line;
  if (take_word(&at, ONLY) && take_zone(&at, &zone) && *at == 0u) {
    only = asked = zone;
    return TRIM_SHOW;
  }
  at = line;
  if (take_zone(&at, &zone) && take_colour(&at, &colour)) {
    trimmed[zone] = colour;
    is_trimmed[zone] = 1;
    asked = zone;
    return TRIM_SHOW;
  }
  put_text(ERROR);
  return TRIM_NOTHING;
}

enum trim_event trim_take(uint8_t byte)
{
  enum trim_event event = TRIM_NOTHING;
  if (byte == '!') {
    is_on = 1;
    line_length = too_long = 0;
    put_hello();
  } else if (!is_on || byte == '\r') {
    /* nothing is said to a sign that runs */
  } else if (byte != '\n') {
    if (line_length < LINE_LENGTH) {
      line[line_length++] = byte;
    } else {
      too_long = 1;
    }
  } else {
    line[line_length] = 0;
    if (too_long) {
      put_text(ERROR);
    } else {
      event = obey();
    }
    line_length = too_long = 0;
  }
  return event;
}

void trim_answer(void)
{
  struct colour shown;
  uint8_t c;
  if (asked == NO_ZONE) {
    put_text(is_on ? ALL : RUN);
  } else {
    read_frame(MARQUEE_RUN_FIRST(MARQUEE_ZONE_FIRST_RUN(asked)), &shown);
    put_number(asked);
    for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
      serial_put(c ? ',' : '=');
      put_number(shown.code[c]);
    }
    if (MARQUEE_GLOBAL_BITS > 0) {
      serial_put(',');
      put_number(shown.global_code);
    }
  }
  serial_put('\n');
}

uint8_t trim_is_on(void)
{
  return is_on;
}

uint8_t trim_colour(uint8_t zone, struct colour *colour)
{
  uint8_t c, changed = 0;
  if (zone < TRIM_ZONES && is_trimmed[zone]) {
    *colour = trimmed[zone];
    changed = 1;
  }
  if (only != NO_ZONE && only != zone) {
    for (c = 0; c < MARQUEE_CHANNEL_COUNT; c++) {
      colour->code[c] = 0;
    }
    changed = 1;
  }
  return changed;
}
