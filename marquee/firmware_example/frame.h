/* The frame: what every LED is to show, in the order of the wire, and how it is filled from the constants. */
#ifndef FRAME_H
#define FRAME_H

#include "marquee_constants.h"

/* Bytes of one LED in the frame; on clocked parts the global setting comes first. */
#if MARQUEE_PROTOCOL == MARQUEE_CLOCKED
#define LED_HEAD 1u
#else
#define LED_HEAD 0u
#endif
#define LED_BYTES (MARQUEE_CHANNEL_COUNT + LED_HEAD)

struct colour {
  uint8_t code[MARQUEE_CHANNEL_COUNT]; /* in channel order */
  uint8_t global_code;
};

extern uint8_t frame[MARQUEE_FRAME_BYTES];

/* Choose how far all bytes shrink, at start and whenever trimming changed something: for a brightness of 0 to 255,
 * and so that no LED exceeds the cap and the sign stays within the milliamp limit at every step of the hue cycle. */
void hold_frame(uint8_t brightness);

/* Fill the whole frame for one step of the hue cycle. */
void fill_frame(uint16_t hue_step);

/* What the frame holds for an LED. */
void read_frame(uint16_t led, struct colour *shown);

#endif
