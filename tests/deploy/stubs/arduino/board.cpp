// Runs the sketch on this machine: `board ROUNDS START_S`, with a clock that only waiting moves.
#include <ctime>
#include "Arduino.h"
#include "WiFi.h"

uint32_t ticks_ms = 1;
static long start_s = 0;
// The sketch asks for the time of day.
static time_t board_time(time_t *) { return start_s + ticks_ms / 1000; }
EspClass ESP;
WiFiClass WiFi;
#define time board_time
#include "arduino.ino"
#undef time

int main(int, char **words) {
  start_s = std::atol(words[2]);
  setup();
  // A round is a measurement; between two of them the loop waits 50 ms at a time.
  for (uint32_t end_ms = 1 + std::atoi(words[1]) * 10000u; ticks_ms < end_ms;) loop();
}
