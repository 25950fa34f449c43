// Stands in for the library of that name: a probe that says 85 degC first, as it does before it has measured.
#pragma once
#include "OneWire.h"
struct DallasTemperature {
  int read = 0;
  explicit DallasTemperature(OneWire *) {}
  void begin() {}
  void requestTemperatures() {}
  float getTempCByIndex(int) { return ++read == 1 ? 85.0f : 25.4f; }
};
