/* Runs an AVR program in simavr and prints every edge of PB0 and PB1 and every serial byte with its cycle.
 *
 *   simavr_trace ELF MCU CYCLES FIRST [LINE...]
 *
 * From cycle FIRST on the LINEs are sent over the serial line, each after the answer to the one before; bytes are
 * a character's time apart (38400 baud). Prints "p CYCLE PIN VALUE", "u CYCLE BYTE" and at the end
 * "s LOWEST RAMEND", the lowest stack pointer seen.
 */
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static avr_t *avr;
static int answered = 1;

static void on_pin(struct avr_irq_t *irq, uint32_t value, void *param)
{
  (void)param;
  printf("p %llu %d %u\n", (unsigned long long)avr->cycle, (int)irq->irq, value & 1u);
}

static void on_serial(struct avr_irq_t *irq, uint32_t value, void *param)
{
  (void)irq;
  (void)param;
  printf("u %llu %u\n", (unsigned long long)avr->cycle, value & 255u);
  if ((value & 255u) == '\n') {
    answered = 1;
  }
}

int main(int argc, char **argv)
{
  elf_firmware_t firmware;
  unsigned long long cycles, next;
  const unsigned long long gap = 16000000ULL * 10 / 38400 + 200;
  int at = 5, place = 0;
  unsigned lowest = 0xFFFF;
  uint32_t flags = 0;
  avr_irq_t *input;
  if (argc < 5) {
    return 2;
  }
  memset(&firmware, 0, sizeof firmware);
  if (elf_read_firmware(argv[1], &firmware) != 0) {
    return 3;
  }
  avr = avr_make_mcu_by_name(argv[2]);
  if (avr == NULL) {
    return 4;
  }
  avr_init(avr);
  avr->frequency = 16000000;
  avr_load_firmware(avr, &firmware);
  avr->frequency = 16000000;
  cycles = strtoull(argv[3], NULL, 10);
  next = strtoull(argv[4], NULL, 10);
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
  input = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_serial, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 0), on_pin, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 1), on_pin, NULL);
  while (avr->cycle < cycles) {
    int state = avr_run(avr);
    unsigned stack = avr->data[R_SPL] | (unsigned)avr->data[R_SPH] << 8;
    if (stack > 0x100 && stack < lowest) {
      lowest = stack;
    }
    if (state == cpu_Done || state == cpu_Crashed) {
      return 5;
    }
    if (at < argc && avr->cycle >= next && (place > 0 || answered)) {
      answered = 0;
      avr_raise_irq(input, (uint8_t)argv[at][place++]);
      next = avr->cycle + gap;
      if (argv[at][place] == 0) {
        at++;
        place = 0;
      }
    }
  }
  printf("s %u %u\n", lowest, (unsigned)avr->ramend);
  return 0;
}
