// Stands in for the library of that name.
#pragma once
struct OneWire {
  explicit OneWire(int) {}
};
