// Stands in for the library of that name: prints what is done at the broker, which is lost once.
#pragma once
#include <cstdio>
#include <string>
struct WiFiClient;
struct MQTTClient {
  int publications = 0;
  int keep_alive = 0;
  bool is_connected = false;
  explicit MQTTClient(int) {}
  static std::string quoted(const char *text) {
    std::string out = "\"";
    for (; *text; text++) {
      if (*text == '"') out += '\\';
      out += *text;
    }
    return out + "\"";
  }
  static const char *word(bool is_so) { return is_so ? "true" : "false"; }
  void begin(const char *, int, WiFiClient &) {}
  void setKeepAlive(int seconds) { keep_alive = seconds; }
  void setWill(const char *topic, const char *payload, bool retained, int qos) {
    std::printf("[\"will\", \"%s\", \"%s\", %s, %d]\n", topic, payload, word(retained), qos);
  }
  bool connected() { return is_connected; }
  bool loop() { return is_connected; }
  bool connect(const char *id, const char *user, const char *) {
    std::printf("[\"client\", \"%s\", \"%s\", %d]\n[\"connect\"]\n", id, user, keep_alive);
    return is_connected = true;
  }
  bool publish(const char *topic, const char *payload, bool retained, int qos) {
    if (++publications == 4) {
      std::printf("[\"lost\"]\n");
      return is_connected = false;
    }
    std::printf("[\"publish\", \"%s\", %s, %s, %d]\n", topic, quoted(payload).c_str(), word(retained), qos);
    return true;
  }
};
