/* Trim mode: bytes for a zone arrive over a serial line, are shown at once, and what was shown is answered.
 *
 * 38400 baud, 8 data bits, no parity, 1 stop bit. The sign cannot listen while it sends a frame, so first send
 * one '!' and wait for the answer; send it again after half a second without one. From then on the sign sends a
 * frame only when told to. Every line ends in a line feed; wait for its answer before the next.
 *
 *   !             -> "trim 1 zones 5 channels 3 global 0 crc 96424553"
 *   3=214,9,3     zone 3 shows these bytes, in channel order; with a global setting one number more
 *                 -> "3=214,9,3", the bytes as sent: lower where the cap or the milliamp limit held them down
 *   only 3        the other zones go dark            -> as above
 *   all           every zone is shown again          -> "all"
 *   run           forget all that, run on as planned -> "run"
 *   anything else -> "error"
 */
#ifndef TRIM_H
#define TRIM_H

#include "frame.h"

enum trim_event { TRIM_NOTHING, TRIM_SHOW };

/* Take one byte from the serial line. On TRIM_SHOW hold, fill and send a frame, then call trim_answer. */
enum trim_event trim_take(uint8_t byte);
void trim_answer(void);

/* Whether trim mode is on, and what it makes of a zone's colour: returns 1 where it changed it. */
uint8_t trim_is_on(void);
uint8_t trim_colour(uint8_t zone, struct colour *colour);

/* To be provided by the board: sends one byte over the serial line. */
void serial_put(uint8_t byte);

#endif
