#include "send.h"
#include "frame.h"
#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/delay.h>

void send_start(void)
{
  LED_PORT &= (uint8_t) ~((1u << LED_DATA) | (1u << LED_CLOCK));
#if MARQUEE_PROTOCOL == MARQUEE_CLOCKED
  LED_DDR |= (uint8_t)((1u << LED_DATA) | (1u << LED_CLOCK));
#else
  LED_DDR |= (uint8_t)(1u << LED_DATA);
#endif
}

#if MARQUEE_PROTOCOL == MARQUEE_ONE_WIRE

/* Processor cycles of each part of a bit, to the nearest. The low after a 1 also loads the next byte (8 cycles). */
#define CYCLES(ns) (((ns) * (F_CPU / 1000UL) + 500000UL) / 1000000UL)
#define AT_LEAST(least, cycles) ((cycles) < (least) ? (least) : (cycles))
#define T0H CYCLES(MARQUEE_T0H_NS)
#define T1H CYCLES(MARQUEE_T1H_NS)
#define T0L AT_LEAST(10UL, CYCLES(MARQUEE_T0L_NS))
#define T1L AT_LEAST(8UL, CYCLES(MARQUEE_T1L_NS))
MARQUEE_ASSERT(clock_is_fast_enough, F_CPU >= 12000000UL && T0H >= 3UL && T1H > T0H + 1UL);
MARQUEE_ASSERT(frame_fits_the_counter, MARQUEE_FRAME_BYTES <= 65535UL);

void send_frame(void)
{
  const uint8_t *next = frame;
  uint16_t left = MARQUEE_FRAME_BYTES;
  const uint8_t interrupts = SREG;
  uint8_t byte, high, low;
  cli(); /* one interrupt inside a bit would be read as another bit */
  high = (uint8_t)(LED_PORT | (1u << LED_DATA));
  low = (uint8_t)(LED_PORT & ~(1u << LED_DATA));
  /* Cycles: out, nop, ld without its 2nd, sbrc not skipping: 1; ld, sbiw, rjmp, sbrc skipping: 2.
   * A 0 is high for out + before + sbrc(2) = T0H, low for out + zero + rjmp(2) = T0L.
   * A 1 is high for out + before + sbrc(1) + rjmp(2) + one = T1H, low for out + rest = T1L.
   * Bit 0 of a byte waits 7 less: sbiw(2), breq(1), rjmp(2) and ld(2) are part of its low. */
  __asm__ volatile(
    "1: ld %[byte], %a[next]+ \n\t"
    ".irp bit, 7, 6, 5, 4, 3, 2, 1 \n\t"
    "out %[port], %[high] \n\t"
    ".rept %[before] \n\t nop \n\t .endr \n\t"
    "sbrc %[byte], \\bit \n\t"
    "rjmp 2f \n\t"
    "out %[port], %[low] \n\t"
    ".rept %[zero] \n\t nop \n\t .endr \n\t"
    "rjmp 3f \n\t"
    "2: \n\t"
    ".rept %[one] \n\t nop \n\t .endr \n\t"
    "out %[port], %[low] \n\t"
    ".rept %[rest] \n\t nop \n\t .endr \n\t"
    "3: \n\t"
    ".endr \n\t"
    "out %[port], %[high] \n\t"
    ".rept %[before] \n\t nop \n\t .endr \n\t"
    "sbrc %[byte], 0 \n\t"
    "rjmp 2f \n\t"
    "out %[port], %[low] \n\t"
    ".rept %[zero] - 7 \n\t nop \n\t .endr \n\t"
    "rjmp 3f \n\t"
    "2: \n\t"
    ".rept %[one] \n\t nop \n\t .endr \n\t"
    "out %[port], %[low] \n\t"
    ".rept %[rest] - 7 \n\t nop \n\t .endr \n\t"
    "3: \n\t"
    "sbiw %[left], 1 \n\t"
    "breq 4f \n\t"
    "rjmp 1b \n\t"
    "4: \n\t"
    : [byte] "=&r"(byte), [next] "+e"(next), [left] "+w"(left)
    : [port] "I"(_SFR_IO_ADDR(LED_PORT)), [high] "r"(high), [low] "r"(low), [before] "n"(T0H - 3UL),
      [zero] "n"(T0L - 3UL), [one] "n"(T1H - T0H - 1UL), [rest] "n"(T1L - 1UL)
    : "memory");
  SREG = interrupts;
  _delay_us(MARQUEE_LATCH_US);
}

#else

/* Bit by bit, about a microsecond each: slower than the part allows, and it has no lower limit. */
static void send_byte(uint8_t byte)
{
  uint8_t mask;
  for (mask = 0x80u; mask; mask = (uint8_t)(mask >> 1)) {
    if (byte & mask) {
      LED_PORT |= (uint8_t)(1u << LED_DATA);
    } else {
      LED_PORT &= (uint8_t) ~(1u << LED_DATA);
    }
    LED_PORT |= (uint8_t)(1u << LED_CLOCK); /* the part reads data as the clock rises */
    LED_PORT &= (uint8_t) ~(1u << LED_CLOCK);
  }
}

static void send_zeros(uint16_t bytes)
{
  while (bytes--) {
    send_byte(0);
  }
}

void send_frame(void)
{
  uint16_t i;
  send_zeros(4); /* start */
  for (i = 0; i < MARQUEE_FRAME_BYTES; i++) {
    send_byte(frame[i]);
  }
  send_zeros(4); /* some parts show the frame only at the next start */
  /* Each LED delays the data by half a clock: clock the last ones in. */
  send_zeros((uint16_t)((MARQUEE_LED_COUNT + 15UL) / 16UL));
}

#endif
