/* Sending the frame, and which pins of the controller do it. */
#ifndef SEND_H
#define SEND_H

/* Data on PB0; clocked parts take their clock from PB1. Both must be on one port. */
#define LED_PORT PORTB
#define LED_DDR DDRB
#define LED_DATA 0
#define LED_CLOCK 1

void send_start(void);
void send_frame(void);

#endif
