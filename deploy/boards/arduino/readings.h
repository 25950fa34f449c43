// What a board makes of its measurements: plain C++, without anything of the board.
//
// Values go out as SenML (RFC 8428) in its base units. Calibration of pH and the temperature of its electrode are left
// to Brinebell, so that a new calibration needs no new program on the board.
#pragma once

#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

// What the sensor says before it has measured, and what its library says when it does not answer (both from memory).
constexpr float POWER_ON_CELSIUS = 85.0f;
constexpr float ABSENT_CELSIUS = -127.0f;
// Unix time before which a clock has not been set.
constexpr uint32_t SET_S = 1767225600;

// Turns volts into a value, by two points.
struct Line {
  float volts1, value1, volts2, value2;
  float at(float volts) const { return value1 + (value2 - value1) / (volts2 - volts1) * (volts - volts1); }
};

// One value to publish; NAN is left out.
struct Reading {
  const char *name;
  const char *unit;
  float value;
  int digits;
};

// The middle one of an odd number of values, which are put in order: one that jumps does not count.
inline float median(float *values, size_t count) {
  for (size_t i = 1; i < count; i++) {
    for (size_t j = i; j > 0 && values[j] < values[j - 1]; j--) {
      float other = values[j];
      values[j] = values[j - 1];
      values[j - 1] = other;
    }
  }
  return values[count / 2];
}

// A temperature, or NAN for what is none.
inline float believable(float celsius) {
  bool is_none = celsius == POWER_ON_CELSIUS || celsius == ABSENT_CELSIUS || !(celsius > -40.0f && celsius < 80.0f);
  return is_none ? NAN : celsius;
}

// Writes a SenML pack and returns its length; 0 if there is nothing to say or `size` is too small. A time before SET_S
// is left out.
inline size_t pack(char *out, size_t size, const char *board, const Reading *readings, size_t count, uint32_t at_s) {
  size_t used = 0;
  bool is_first = true;
  for (size_t i = 0; i < count; i++) {
    if (isnan(readings[i].value)) continue;
    char base[80] = "";
    if (is_first && at_s >= SET_S) {
      snprintf(base, sizeof base, "\"bn\":\"%s/\",\"bt\":%lu,", board, (unsigned long)at_s);
    } else if (is_first) {
      snprintf(base, sizeof base, "\"bn\":\"%s/\",", board);
    }
    int more = snprintf(out + used, size - used, "%s{%s\"n\":\"%s\",\"u\":\"%s\",\"v\":%.*f}", is_first ? "[" : ",", base,
                        readings[i].name, readings[i].unit, readings[i].digits, (double)readings[i].value);
    // One more for the bracket that ends it.
    if (more < 0 || used + (size_t)more + 2 > size) return 0;
    used += (size_t)more;
    is_first = false;
  }
  if (is_first) return 0;
  out[used++] = ']';
  out[used] = '\0';
  return used;
}

// Keeps what could not be sent, the newest MOST packs; one without a time would be told as of now, so of these only
// the newest is kept.
template <size_t MOST, size_t SIZE> class Outbox {
 public:
  void put(const char *text) {
    size_t kept = 0;
    for (size_t i = 0; i < count_; i++) {
      if (strstr(waiting_[i], "\"bt\"") != nullptr) {
        if (kept != i) strcpy(waiting_[kept], waiting_[i]);
        kept++;
      }
    }
    count_ = kept;
    if (count_ == MOST) sent();
    snprintf(waiting_[count_++], SIZE, "%s", text);
  }
  const char *first() const { return count_ ? waiting_[0] : nullptr; }
  // The oldest pack has been acknowledged.
  void sent() {
    if (count_) memmove(waiting_[0], waiting_[1], --count_ * SIZE);
  }

 private:
  char waiting_[MOST][SIZE] = {};
  size_t count_ = 0;
};
