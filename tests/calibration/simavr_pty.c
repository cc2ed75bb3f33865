/* Runs an AVR program in simavr with its serial line on a pseudo-terminal, until killed.
 *
 *   simavr_pty ELF MCU
 *
 * Prints the terminal's name. Bytes reach the program a character's time apart (38400 baud).
 */
#define _GNU_SOURCE
#include <fcntl.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

static int master;

static void on_serial(struct avr_irq_t *irq, uint32_t value, void *param)
{
  uint8_t byte = (uint8_t)value;
  (void)irq;
  (void)param;
  if (write(master, &byte, 1) != 1) {
    exit(6);
  }
}

int main(int argc, char **argv)
{
  elf_firmware_t firmware;
  struct termios raw;
  const unsigned long long gap = 16000000ULL * 10 / 38400 + 200;
  unsigned long long next = 0;
  uint32_t flags = 0;
  avr_irq_t *input;
  avr_t *avr;
  int slave;
  if (argc != 3) {
    return 2;
  }
  master = posix_openpt(O_RDWR | O_NOCTTY);
  if (master < 0 || grantpt(master) != 0 || unlockpt(master) != 0) {
    return 7;
  }
  /* Held open, so that the line does not hang up before and after its reader. */
  slave = open(ptsname(master), O_RDWR | O_NOCTTY);
  if (slave < 0 || tcgetattr(slave, &raw) != 0) {
    return 8;
  }
  cfmakeraw(&raw);
  tcsetattr(slave, TCSANOW, &raw);
  fcntl(master, F_SETFL, O_NONBLOCK);
  memset(&firmware, 0, sizeof firmware);
  if (elf_read_firmware(argv[1], &firmware) != 0) {
    return 3;
  }
  avr = avr_make_mcu_by_name(argv[2]);
  if (avr == NULL) {
    return 4;
  }
  avr_init(avr);
  avr_load_firmware(avr, &firmware);
  avr->frequency = 16000000;
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
  input = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_serial, NULL);
  printf("%s\n", ptsname(master));
  fflush(stdout);
  for (;;) {
    int state = avr_run(avr);
    if (state == cpu_Done || state == cpu_Crashed) {
      return 5;
    }
    if (avr->cycle >= next) {
      uint8_t byte;
      next = avr->cycle + gap;
      if (read(master, &byte, 1) == 1) {
        avr_raise_irq(input, byte);
      }
    }
  }
}
