/* One back-lit marquee on a 16 MHz AVR (made for the ATmega328P): shows the zones as planned, turns the hue cycle,
 * keeps the cap and the milliamp limit, and can be trimmed over a serial line (see trim.h). It is an example to
 * read and to change, not a library.
 *
 * Wiring
 *   Supply +  -> fuse -> LED rail +       Feeds, wire sizes and fuses as the plan says. The controller may run from
 *   Supply -  -> LED rail - and controller GND, joined: without a common ground the data line means nothing.
 *   PB0       -> resistor -> data in of the first LED; the plan's wiring sheet says how large, close to the controller
 *   PB1       -> the same -> clock in, on clocked parts only
 *   PD0, PD1  <- -> serial line of a USB adapter at the controller's logic level, for trimming; ground joined too
 *   A controller with 3.3 V logic needs a level shifter where the plan's notes on the data line say so.
 * Caution: switch the supply off before wiring. Software limits are no fuse: fit the fuses. Mains wiring belongs to
 * licensed practice and local codes. Keep changes slow: more than 3 flashes a second can cause seizures.
 */
#include "frame.h"
#include "send.h"
#include "trim.h"
#include <avr/io.h>

#ifndef TCCR1A
#error "this example needs a 16-bit timer 1, as the ATmega328P, 32U4 and 2560 have it: put your own clock below"
#endif

#define SIGN_BRIGHTNESS 255u /* 0 to 255, of what the plan says */
#define FRAME_TICKS 313u     /* a frame each 20 ms, in ticks of the clock below */

/* Timer 1 counts ticks of 1024 cycles by itself. Reading it loses no time while a frame is sent with interrupts
 * off, as counting in an interrupt would. It must be read every 4 s at least: it wraps. */
#define TICK_US (1024UL * 1000000UL / F_CPU)

static void clock_start(void)
{
  TCCR1A = 0;
  TCCR1B = (uint8_t)((1u << CS12) | (1u << CS10));
}

#if defined(UCSR0A)
#define BAUD 38400UL
static void serial_start(void)
{
  UCSR0A = (uint8_t)(1u << U2X0);
  UBRR0 = (uint16_t)((F_CPU + 4UL * BAUD) / (8UL * BAUD) - 1UL);
  UCSR0C = (uint8_t)((1u << UCSZ01) | (1u << UCSZ00));
  UCSR0B = (uint8_t)((1u << RXEN0) | (1u << TXEN0));
}

static uint8_t serial_ready(void)
{
  return (uint8_t)(UCSR0A & (1u << RXC0));
}

static uint8_t serial_get(void)
{
  return UDR0;
}

void serial_put(uint8_t byte)
{
  while (!(UCSR0A & (1u << UDRE0))) {
  }
  UDR0 = byte;
}
#else /* no such serial port: the sign runs, and cannot be trimmed */
static void serial_start(void) { }
static uint8_t serial_ready(void) { return 0; }
static uint8_t serial_get(void) { return 0; }
void serial_put(uint8_t byte) { (void)byte; }
#endif

static uint16_t hue_step;

static void turn_hue(uint16_t ticks)
{
#if MARQUEE_HUE_COUNT > 0
  static uint32_t since_us;
  since_us += ticks * TICK_US;
  while (since_us >= MARQUEE_HUE_STEP_MS * 1000UL) {
    since_us -= MARQUEE_HUE_STEP_MS * 1000UL;
    hue_step = (uint16_t)(hue_step + 1u < MARQUEE_HUE_COUNT ? hue_step + 1u : 0u);
  }
#else
  (void)ticks;
#endif
}

int main(void)
{
  uint16_t before, now;
  send_start();
  serial_start();
  clock_start();
  before = TCNT1;
  hold_frame(SIGN_BRIGHTNESS);
  fill_frame(hue_step);
  send_frame();
  for (;;) {
    if (serial_ready() && trim_take(serial_get()) == TRIM_SHOW) {
      hold_frame(SIGN_BRIGHTNESS);
      fill_frame(hue_step);
      send_frame();
      trim_answer();
    }
    now = TCNT1;
    if ((uint16_t)(now - before) >= FRAME_TICKS) {
      if (!trim_is_on()) {
        turn_hue((uint16_t)(now - before));
        fill_frame(hue_step);
        send_frame();
      }
      before = now;
    }
  }
}
