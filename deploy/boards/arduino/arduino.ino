// A board that measures a tank: a sketch for an ESP32 with the Arduino core and the libraries MQTT, OneWire and
// DallasTemperature. Read README.md in the folder above first, and put in what is yours below.
#include <DallasTemperature.h>
#include <MQTT.h>
#include <OneWire.h>
#include <WiFi.h>
#include <time.h>

#include "readings.h"

const char *const WIFI_NAME = "your network";
const char *const WIFI_PASSWORD = "its password";
const char *const BROKER = "10.0.0.7";
const char *const TIME_SERVER = "pool.ntp.org";
// As deploy/install --board named it; its password stands in /etc/brinebell/passwords there.
#define BOARD "sump"
const char *const PASSWORD = "the password of this board at the broker";

// Pins of an ESP32. Analog ones must belong to its first converter, or Wi-Fi disturbs them.
const int TEMPERATURE_PIN = 4;
const int PH_PIN = 34;
const int CONDUCTIVITY_PIN = 35;
const int LEVEL_PIN = 32;
// Two points each: volts at the pin, and what they mean. From the data sheet of your amplifier: volts of the electrode.
const Line ELECTRODE_VOLTS = {1.50f, 0.0f, 2.50f, -0.177f};
// From two solutions: siemens per metre at the temperature that they have.
const Line CONDUCTIVITY = {0.10f, 0.1413f, 2.00f, 5.30f};
// From two heights of water in the reservoir: metres.
const Line HEIGHT = {0.40f, 0.0f, 2.20f, 0.30f};

const uint32_t EVERY_MS = 10000;
// A board that has reached nobody for so long begins anew.
const uint32_t GIVE_UP_MS = 300000;
const char *const READINGS = "boards/" BOARD "/readings";
const char *const STATUS = "boards/status/" BOARD;

WiFiClient net;
MQTTClient client(512);
OneWire wire(TEMPERATURE_PIN);
DallasTemperature probes(&wire);
// Ten minutes without a broker.
Outbox<60, 320> outbox;
uint32_t begun_ms = 0;
uint32_t reached_ms = 0;

float volts(int pin) {
  float samples[31];
  for (float &one : samples) one = analogReadMilliVolts(pin) / 1000.0f;
  return median(samples, 31);
}

bool reach_broker() {
  if (client.connected()) return true;
  if (WiFi.status() != WL_CONNECTED) {
    WiFi.begin(WIFI_NAME, WIFI_PASSWORD);
    return false;
  }
  if (!client.connect("board-" BOARD, BOARD, PASSWORD)) return false;
  return client.publish(STATUS, "online", true, 1);
}

void setup() {
  WiFi.mode(WIFI_STA);
  WiFi.begin(WIFI_NAME, WIFI_PASSWORD);
  configTime(0, 0, TIME_SERVER);
  probes.begin();
  client.begin(BROKER, 1883, net);
  client.setKeepAlive(60);
  // The broker says so when the board is gone: that is how Brinebell knows at once.
  client.setWill(STATUS, "offline", true, 1);
}

void loop() {
  client.loop();
  if (millis() - begun_ms < EVERY_MS && begun_ms != 0) {
    delay(50);
    return;
  }
  begun_ms = millis();
  probes.requestTemperatures();
  const Reading readings[] = {
      {"temperature", "Cel", believable(probes.getTempCByIndex(0)), 3},
      {"ph", "V", ELECTRODE_VOLTS.at(volts(PH_PIN)), 5},
      {"conductivity", "S/m", CONDUCTIVITY.at(volts(CONDUCTIVITY_PIN)), 4},
      {"reservoir", "m", HEIGHT.at(volts(LEVEL_PIN)), 4},
  };
  char text[320];
  if (pack(text, sizeof text, BOARD, readings, 4, (uint32_t)time(nullptr))) outbox.put(text);
  // A publication of quality of service 1 returns when the broker has acknowledged it.
  while (reach_broker() && outbox.first() && client.publish(READINGS, outbox.first(), false, 1)) {
    outbox.sent();
    reached_ms = millis();
  }
  if (millis() - reached_ms > GIVE_UP_MS) ESP.restart();
}
