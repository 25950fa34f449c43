// Stands in for the core of an ESP32: a clock that only waiting moves, and pins that show fixed volts.
#pragma once
#include <cstdint>
#include <cstdio>
#include <cstdlib>

extern uint32_t ticks_ms;
inline uint32_t millis() { return ticks_ms; }
inline void delay(uint32_t milliseconds) { ticks_ms += milliseconds; }
inline uint32_t analogReadMilliVolts(uint8_t pin) {
  static unsigned samples = 0;
  // Each fifth sample jumps.
  if (++samples % 5 == 0) return 3100;
  return pin == 34 ? 1907 : pin == 35 ? 2000 : 1300;
}
inline void configTime(long, int, const char *) {}
struct EspClass {
  void restart() { std::exit(1); }
};
extern EspClass ESP;
