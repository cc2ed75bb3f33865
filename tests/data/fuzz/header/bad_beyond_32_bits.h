/*
 * Constants of one back-lit marquee for its LED controller, prefix MARQUEE.
 * Made by marquee 0.1.0; change the plan and make it again rather than editing this.
 * Artwork: lantern hall.png
 * SHA-256: 0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef
 * Part:    test-part, Made-up part
 * Sized for controller atmega328p.
 * Good in C99 and later and in C++98 and later. Include it, or paste it into the main file.
 *
 * How to read it (all names begin with MARQUEE_). For zone z, go through its runs, and give every LED of
 * each run the zone's bytes:
 *   for (r = ZONE_FIRST_RUN(z); r < ZONE_FIRST_RUN(z) + ZONE_RUNS(z); r++)
 *     for (i = 0; i < RUN_LEDS(r); i++)
 *       LED number RUN_FIRST(r) + i gets ZONE_DRIVE(z, c) in channel c.
 * Codes may be shared out over a zone's LEDs for a finer colour. For each channel c keep a sum, at first
 * ZONE_START(z, c). For each LED of the zone in that order add ZONE_RAISED(z, c); where the sum reaches
 * ZONE_LEDS(z), subtract that and send this LED one more than ZONE_DRIVE(z, c).
 * LEDs in no run stay dark. On the wire, byte b of an LED is channel ORDER_AT(b).
 * A zone whose mode is HUE_CYCLE shows HUE_AT(step, c) instead, one step further every
 * HUE_STEP_MS ms, from the last step back to the first.
 * GAMMA_AT(level) is for animations of your own: even steps of level look even.
 *
 * Cost: 563 bytes of flash and no RAM where tables stay in flash (AVR, ARM, RISC-V);
 * one frame takes 177 bytes of RAM and 2.07 ms, so at most 483 frames per second.
 *
 * Caution. The supply, fuses and wires were chosen for the limits below. A program that ignores
 * CAP_255 or LIMIT_MA can overload them: wires and strips can get hot enough to burn.
 * Software is no protection: fit the fuses. Mains wiring belongs to licensed practice and local codes.
 * Fast flashing (above 3 flashes per second) can cause seizures (WCAG 2.2, 2.3.1): keep changes slow.
 * On a 16 MHz AVR, sending keeps interrupts off for 1.77 ms, and millisecond clocks run slow;
 * count frames instead.
 * The part's response was not measured: gamma and currents take light as proportional to the byte.
 *
 * Units: _MA milliampere, _UA microampere, _NS nanosecond, _US microsecond, _MS millisecond, _HZ hertz,
 * _BYTES bytes, _255 parts of 255; LEDs, runs, zones, steps and channels are counted from 0.
 *
 * CRC-32 (as in zlib) of these numbers, each as four bytes, lowest byte first:
 *   LED, channel, zone, run and hue count, hue step, protocol, four bit times, latch, clock,
 *   global bits, cap, limit, worst case, planned, dark, largest-only; wire order; channel currents;
 *   each run (first, count);
 *   each zone (first run, runs, LEDs, raised, start, bytes, global, mode); gamma; hues.
 */
#ifndef MARQUEE_CONSTANTS_H
#define MARQUEE_CONSTANTS_H

#include <stdint.h>
#if defined(__AVR__)
#include <avr/pgmspace.h>
#endif

/* Where tables lie and how they are read. On AVR they stay in flash, and reading one as plain memory
 * (without MARQUEE_GET8, _GET16, _GET32) compiles and gives wrong bytes. To use your own, define all four
 * of MARQUEE_FLASH, _GET8, _GET16 and _GET32 before including this file. */
#ifndef MARQUEE_FLASH
#if defined(__AVR__)
#define MARQUEE_FLASH PROGMEM
#define MARQUEE_GET8(address) pgm_read_byte(address)
#define MARQUEE_GET16(address) pgm_read_word(address)
#define MARQUEE_GET32(address) pgm_read_dword(address)
#else
#define MARQUEE_FLASH
#define MARQUEE_GET8(address) (*(address))
#define MARQUEE_GET16(address) (*(address))
#define MARQUEE_GET32(address) (*(address))
#endif
#endif

/* Keeps strict builds quiet about tables a program leaves unused; those cost nothing at -Os. */
#if defined(__GNUC__)
#define MARQUEE_UNUSED __attribute__((unused))
#else
#define MARQUEE_UNUSED
#endif

#if defined(__cplusplus)
#if __cplusplus >= 201103L
#define MARQUEE_ASSERT(tag, holds) static_assert(holds, #tag)
#endif
#elif defined(__STDC_VERSION__)
#if __STDC_VERSION__ >= 201112L
#define MARQUEE_ASSERT(tag, holds) _Static_assert(holds, #tag)
#endif
#endif
#ifndef MARQUEE_ASSERT
#define MARQUEE_ASSERT(tag, holds) typedef char MARQUEE_ASSERT_##tag[(holds) ? 1 : -1]
#endif

#define MARQUEE_FORMAT_VERSION 1                 /* of this file's layout */
#define MARQUEE_VALUES_CRC32 0xC181DAE4UL        /* of the values, see above */

#define MARQUEE_LED_COUNT 99999999999u                    /* LEDs on the chain, dark ones included */
#define MARQUEE_CHANNEL_COUNT 3u                 /* channels of one LED */
#define MARQUEE_ZONE_COUNT 5u
#define MARQUEE_RUN_COUNT 7u                     /* runs of neighbouring LEDs, all zones */
#define MARQUEE_GAMMA_COUNT 256u
#define MARQUEE_HUE_COUNT 48u                    /* steps of the hue cycle, 0: none */
#define MARQUEE_HUE_STEP_MS 250UL                /* ms for each step */

/* Channels, in the order of every table here (the wire's order is ORDER). */
#define MARQUEE_CH_R 0u
#define MARQUEE_CH_G 1u
#define MARQUEE_CH_B 2u

/* Zones by name. */
#define MARQUEE_Z_EMBLEM_RED 0u                  /* Emblem red */
#define MARQUEE_Z_EMBLEM_GOLD 1u                 /* Emblem gold */
#define MARQUEE_Z_WORD_MARK 2u                   /* Word mark */
#define MARQUEE_Z_BAND 3u                        /* Band */
#define MARQUEE_Z_STAR 4u                        /* Star */

/* A zone's mode. */
#define MARQUEE_STEADY 0u
#define MARQUEE_HUE_CYCLE 1u

/* How the part is sent: one wire (each bit a pulse, most significant first) or clock and data. */
#define MARQUEE_ONE_WIRE 1
#define MARQUEE_CLOCKED 2
#define MARQUEE_PROTOCOL 1
#define MARQUEE_T0H_NS 320UL                     /* ns high for a 0 (one wire) */
#define MARQUEE_T0L_NS 930UL                     /* ns low after it */
#define MARQUEE_T1H_NS 725UL                     /* ns high for a 1 */
#define MARQUEE_T1L_NS 525UL                     /* ns low after it */
#define MARQUEE_LATCH_US 300UL                   /* us low before the next frame (one wire) */
#define MARQUEE_CLOCK_HZ 1000000UL               /* Hz aimed at (clocked) */
#define MARQUEE_GLOBAL_BITS 0u                   /* of the global current setting, 0: none */
#define MARQUEE_FRAME_BYTES 177UL                /* bytes of RAM for one frame */
#define MARQUEE_FRAME_US 2070UL                  /* us to send one frame, latch included */
/* channel of each byte sent */
static const uint8_t MARQUEE_ORDER[] MARQUEE_FLASH MARQUEE_UNUSED = {
  1u, 0u, 2u
};

/* Currents, on the supply's side. Estimates from published figures: measure before trusting them. */
#define MARQUEE_CAP_255 255u                     /* 1/255: share of full an LED may draw */
#define MARQUEE_LIMIT_MA 2259UL                  /* mA the program must not exceed */
#define MARQUEE_WORST_MA 2260UL                  /* mA with every channel full, no cap */
#define MARQUEE_PLANNED_MA 985UL                 /* mA as planned */
#define MARQUEE_DARK_UA 135400UL                 /* uA with every LED dark, controller included */
#define MARQUEE_LARGEST_ONLY 0u                  /* 1: largest channel counts */
#define MARQUEE_LED_FULL_UA 36000UL              /* uA of one LED, all full, less dark */
/* uA of each channel at byte 255, an upper estimate */
static const uint32_t MARQUEE_CHANNEL_UA[] MARQUEE_FLASH MARQUEE_UNUSED = {
  12000UL, 12000UL, 12000UL
};

/* Runs of neighbouring LEDs: first LED and count, zone after zone. */
#define MARQUEE_R0_FIRST 0u
#define MARQUEE_R0_LEDS 10u
#define MARQUEE_R1_FIRST 25u
#define MARQUEE_R1_LEDS 5u
#define MARQUEE_R2_FIRST 11u
#define MARQUEE_R2_LEDS 14u
#define MARQUEE_R3_FIRST 30u
#define MARQUEE_R3_LEDS 9u
#define MARQUEE_R4_FIRST 56u
#define MARQUEE_R4_LEDS 3u
#define MARQUEE_R5_FIRST 41u
#define MARQUEE_R5_LEDS 7u
#define MARQUEE_R6_FIRST 48u
#define MARQUEE_R6_LEDS 8u
typedef struct {
  uint16_t first; /* LED */
  uint16_t leds;
} MARQUEE_RUN;
/* first LED, count */
static const MARQUEE_RUN MARQUEE_RUNS[] MARQUEE_FLASH MARQUEE_UNUSED = {
  { MARQUEE_R0_FIRST, MARQUEE_R0_LEDS },
  { MARQUEE_R1_FIRST, MARQUEE_R1_LEDS },
  { MARQUEE_R2_FIRST, MARQUEE_R2_LEDS },
  { MARQUEE_R3_FIRST, MARQUEE_R3_LEDS },
  { MARQUEE_R4_FIRST, MARQUEE_R4_LEDS },
  { MARQUEE_R5_FIRST, MARQUEE_R5_LEDS },
  { MARQUEE_R6_FIRST, MARQUEE_R6_LEDS }
};

typedef struct {
  uint16_t first_run; /* into RUNS */
  uint16_t runs;
  uint16_t leds; /* in all its runs */
  uint16_t raised[3]; /* LEDs that get one more than drive, in each channel */
  uint16_t start[3]; /* where their count starts, below leds */
  uint8_t drive[3]; /* bytes in channel order; 0 where the hue cycle gives them */
  uint8_t global_code; /* the part's global current setting; 0 where it has none */
  uint8_t mode; /* STEADY or HUE_CYCLE */
  uint8_t spare; /* keeps the size even on every compiler */
} MARQUEE_ZONE;
/* first run, runs, LEDs, raised, start, bytes, global, mode */
static const MARQUEE_ZONE MARQUEE_ZONES[] MARQUEE_FLASH MARQUEE_UNUSED = {
  { 0u, 2u, 15u, { 0u, 0u, 0u }, { 0u, 0u, 0u }, { 214u, 9u, 3u }, 0u, MARQUEE_STEADY, 0u },
  { 2u, 1u, 14u, { 0u, 0u, 0u }, { 0u, 0u, 0u }, { 255u, 120u, 0u }, 0u, MARQUEE_STEADY, 0u },
  { 3u, 2u, 12u, { 0u, 0u, 0u }, { 0u, 0u, 0u }, { 180u, 172u, 255u }, 0u, MARQUEE_STEADY, 0u },
  { 5u, 1u, 7u, { 0u, 0u, 0u }, { 0u, 0u, 0u }, { 0u, 0u, 0u }, 0u, MARQUEE_HUE_CYCLE, 0u },
  { 6u, 1u, 8u, { 0u, 0u, 0u }, { 0u, 0u, 0u }, { 0u, 1u, 97u }, 0u, MARQUEE_STEADY, 0u }
};

/* byte for an even step of lightness 0 to 255, through the part's response */
static const uint8_t MARQUEE_GAMMA[] MARQUEE_FLASH MARQUEE_UNUSED = {
    0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   0u,   1u,
    1u,   1u,   1u,   1u,   1u,   1u,   1u,   1u,   1u,   2u,   2u,   2u,   2u,   2u,   2u,   2u,
    3u,   3u,   3u,   3u,   3u,   4u,   4u,   4u,   4u,   5u,   5u,   5u,   5u,   6u,   6u,   6u,
    6u,   7u,   7u,   7u,   8u,   8u,   8u,   9u,   9u,   9u,  10u,  10u,  11u,  11u,  11u,  12u,
   12u,  13u,  13u,  13u,  14u,  14u,  15u,  15u,  16u,  16u,  17u,  17u,  18u,  18u,  19u,  19u,
   20u,  20u,  21u,  22u,  22u,  23u,  23u,  24u,  25u,  25u,  26u,  26u,  27u,  28u,  28u,  29u,
   30u,  30u,  31u,  32u,  33u,  33u,  34u,  35u,  35u,  36u,  37u,  38u,  39u,  39u,  40u,  41u,
   42u,  43u,  43u,  44u,  45u,  46u,  47u,  48u,  49u,  49u,  50u,  51u,  52u,  53u,  54u,  55u,
   56u,  57u,  58u,  59u,  60u,  61u,  62u,  63u,  64u,  65u,  66u,  67u,  68u,  69u,  70u,  71u,
   73u,  74u,  75u,  76u,  77u,  78u,  79u,  81u,  82u,  83u,  84u,  85u,  87u,  88u,  89u,  90u,
   91u,  93u,  94u,  95u,  97u,  98u,  99u, 100u, 102u, 103u, 105u, 106u, 107u, 109u, 110u, 111u,
  113u, 114u, 116u, 117u, 119u, 120u, 121u, 123u, 124u, 126u, 127u, 129u, 130u, 132u, 133u, 135u,
  137u, 138u, 140u, 141u, 143u, 145u, 146u, 148u, 149u, 151u, 153u, 154u, 156u, 158u, 159u, 161u,
  163u, 165u, 166u, 168u, 170u, 172u, 173u, 175u, 177u, 179u, 181u, 182u, 184u, 186u, 188u, 190u,
  192u, 194u, 196u, 197u, 199u, 201u, 203u, 205u, 207u, 209u, 211u, 213u, 215u, 217u, 219u, 221u,
  223u, 225u, 227u, 229u, 231u, 234u, 236u, 238u, 240u, 242u, 244u, 246u, 248u, 251u, 253u, 255u
};

/* hue cycle of constant luminance: bytes of each step, in channel order */
static const uint8_t MARQUEE_HUES[][3] MARQUEE_FLASH MARQUEE_UNUSED = {
  {   5u,  96u, 187u }, {  42u, 133u, 224u }, {  79u, 170u,   5u }, { 116u, 207u,  42u },
  { 153u, 244u,  79u }, { 190u,  25u, 116u }, { 227u,  62u, 153u }, {   8u,  99u, 190u },
  {  45u, 136u, 227u }, {  82u, 173u,   8u }, { 119u, 210u,  45u }, { 156u, 247u,  82u },
  { 193u,  28u, 119u }, { 230u,  65u, 156u }, {  11u, 102u, 193u }, {  48u, 139u, 230u },
  {  85u, 176u,  11u }, { 122u, 213u,  48u }, { 159u, 250u,  85u }, { 196u,  31u, 122u },
  { 233u,  68u, 159u }, {  14u, 105u, 196u }, {  51u, 142u, 233u }, {  88u, 179u,  14u },
  { 125u, 216u,  51u }, { 162u, 253u,  88u }, { 199u,  34u, 125u }, { 236u,  71u, 162u },
  {  17u, 108u, 199u }, {  54u, 145u, 236u }, {  91u, 182u,  17u }, { 128u, 219u,  54u },
  { 165u,   0u,  91u }, { 202u,  37u, 128u }, { 239u,  74u, 165u }, {  20u, 111u, 202u },
  {  57u, 148u, 239u }, {  94u, 185u,  20u }, { 131u, 222u,  57u }, { 168u,   3u,  94u },
  { 205u,  40u, 131u }, { 242u,  77u, 168u }, {  23u, 114u, 205u }, {  60u, 151u, 242u },
  {  97u, 188u,  23u }, { 134u, 225u,  60u }, { 171u,   6u,  97u }, { 208u,  43u, 134u }
};

/* Read the tables with these: they work in flash and in RAM alike. */
#define MARQUEE_ORDER_AT(i) MARQUEE_GET8(&MARQUEE_ORDER[i])
#define MARQUEE_CHANNEL_UA_AT(c) MARQUEE_GET32(&MARQUEE_CHANNEL_UA[c])
#define MARQUEE_RUN_FIRST(r) MARQUEE_GET16(&MARQUEE_RUNS[r].first)
#define MARQUEE_RUN_LEDS(r) MARQUEE_GET16(&MARQUEE_RUNS[r].leds)
#define MARQUEE_ZONE_FIRST_RUN(z) MARQUEE_GET16(&MARQUEE_ZONES[z].first_run)
#define MARQUEE_ZONE_RUNS(z) MARQUEE_GET16(&MARQUEE_ZONES[z].runs)
#define MARQUEE_ZONE_LEDS(z) MARQUEE_GET16(&MARQUEE_ZONES[z].leds)
#define MARQUEE_ZONE_DRIVE(z, c) MARQUEE_GET8(&MARQUEE_ZONES[z].drive[c])
#define MARQUEE_ZONE_RAISED(z, c) MARQUEE_GET16(&MARQUEE_ZONES[z].raised[c])
#define MARQUEE_ZONE_START(z, c) MARQUEE_GET16(&MARQUEE_ZONES[z].start[c])
#define MARQUEE_ZONE_GLOBAL(z) MARQUEE_GET8(&MARQUEE_ZONES[z].global_code)
#define MARQUEE_ZONE_MODE(z) MARQUEE_GET8(&MARQUEE_ZONES[z].mode)
#define MARQUEE_GAMMA_AT(level) MARQUEE_GET8(&MARQUEE_GAMMA[level])
#define MARQUEE_HUE_AT(step, c) MARQUEE_GET8(&MARQUEE_HUES[step][c])

/* Checked by the compiler; the 0UL keeps sums from wrapping where int has 16 bits. */
#define MARQUEE_ROWS(table) (sizeof(table) / sizeof((table)[0]))
MARQUEE_ASSERT(ORDER_rows, MARQUEE_ROWS(MARQUEE_ORDER) == MARQUEE_CHANNEL_COUNT);
MARQUEE_ASSERT(CHANNEL_UA_rows, MARQUEE_ROWS(MARQUEE_CHANNEL_UA) == MARQUEE_CHANNEL_COUNT);
MARQUEE_ASSERT(RUNS_rows, MARQUEE_ROWS(MARQUEE_RUNS) == MARQUEE_RUN_COUNT);
MARQUEE_ASSERT(ZONES_rows, MARQUEE_ROWS(MARQUEE_ZONES) == MARQUEE_ZONE_COUNT);
MARQUEE_ASSERT(GAMMA_rows, MARQUEE_ROWS(MARQUEE_GAMMA) == MARQUEE_GAMMA_COUNT);
MARQUEE_ASSERT(HUES_rows, MARQUEE_ROWS(MARQUEE_HUES) == MARQUEE_HUE_COUNT);
MARQUEE_ASSERT(run_bytes, sizeof(MARQUEE_RUN) == 4);
MARQUEE_ASSERT(zone_bytes, sizeof(MARQUEE_ZONE) == 24);
MARQUEE_ASSERT(zones_fit_a_byte, MARQUEE_ZONE_COUNT <= 255);
MARQUEE_ASSERT(cap_fits_a_byte, MARQUEE_CAP_255 <= 255);
MARQUEE_ASSERT(limit_within_worst, MARQUEE_LIMIT_MA <= MARQUEE_WORST_MA);
MARQUEE_ASSERT(r0_before_r2, 0UL + MARQUEE_R0_FIRST + MARQUEE_R0_LEDS <= MARQUEE_R2_FIRST);
MARQUEE_ASSERT(r2_before_r1, 0UL + MARQUEE_R2_FIRST + MARQUEE_R2_LEDS <= MARQUEE_R1_FIRST);
MARQUEE_ASSERT(r1_before_r3, 0UL + MARQUEE_R1_FIRST + MARQUEE_R1_LEDS <= MARQUEE_R3_FIRST);
MARQUEE_ASSERT(r3_before_r5, 0UL + MARQUEE_R3_FIRST + MARQUEE_R3_LEDS <= MARQUEE_R5_FIRST);
MARQUEE_ASSERT(r5_before_r6, 0UL + MARQUEE_R5_FIRST + MARQUEE_R5_LEDS <= MARQUEE_R6_FIRST);
MARQUEE_ASSERT(r6_before_r4, 0UL + MARQUEE_R6_FIRST + MARQUEE_R6_LEDS <= MARQUEE_R4_FIRST);
MARQUEE_ASSERT(r4_inside_chain, 0UL + MARQUEE_R4_FIRST + MARQUEE_R4_LEDS <= MARQUEE_LED_COUNT);

#endif /* MARQUEE_CONSTANTS_H */
