// SPDX-License-Identifier: MIT OR GPL-2.0-only
/*
 * A 1-Wire bus master for tests: simulated DS18B20 under the kernel's own w1_therm driver.
 *
 * /sys/kernel/w1_bench/control takes one line a write:
 *   sensor BUS ID CODE MODE   a thermometer (ID hexadecimal, CODE in 1/16 degree Celsius);
 *                             MODE: ok, gone, crc (every answer garbled), reset (lost its supply)
 *   bus BUS on|off|dead       the bus master registered, taken away, or answering nothing
 *   lose N                    the next N convert commands reach no sensor
 * /sys/kernel/w1_bench/conversions counts the convert commands that were heard.
 *
 * What the wires say is the manufacturer's data sheet of the DS18B20.
 */
#include <linux/kobject.h>
#include <linux/module.h>
#include <linux/mutex.h>
#include <linux/string.h>
#include <linux/sysfs.h>
#include <linux/w1.h>

#define BUSES 2
#define SENSORS 32
#define PAD 9

enum mode { OK, GONE, BAD_CRC, RESET };
enum state { ROM, MATCH, FUNCTION, READ_PAD, WRITE_PAD, IDLE };

struct sensor {
	int bus;
	u64 rom;
	s16 code;
	enum mode mode;
	bool used, selected;
	u8 pad[PAD];
};

struct bus {
	struct w1_bus_master master;
	int number;
	bool on, dead;
	enum state state;
	int count;
	u8 match[8];
};

static struct sensor sensors[SENSORS];
static struct bus buses[BUSES];
static unsigned int lose, conversions;
static DEFINE_MUTEX(lock);
static struct kobject *folder;

static const u8 POWER_ON[PAD - 1] = { 0x50, 0x05, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10 };

static void seal(struct sensor *s)
{
	s->pad[PAD - 1] = w1_calc_crc8(s->pad, PAD - 1);
}

static void convert(struct bus *b)
{
	int i;

	if (lose) {
		lose--;
		return;
	}
	conversions++;
	for (i = 0; i < SENSORS; i++) {
		struct sensor *s = &sensors[i];

		if (!s->used || !s->selected || s->bus != b->number || s->mode == RESET)
			continue;
		s->pad[0] = s->code & 0xff;
		s->pad[1] = (s->code >> 8) & 0xff;
		s->pad[6] = 0x10 - (s->pad[0] & 0x0f);
		seal(s);
	}
}

static bool answers(struct bus *b, struct sensor *s)
{
	return s->used && s->bus == b->number && s->mode != GONE && !b->dead;
}

static u8 bench_reset(void *data)
{
	struct bus *b = data;
	u8 nobody = 1;
	int i;

	mutex_lock(&lock);
	b->state = ROM;
	b->count = 0;
	for (i = 0; i < SENSORS; i++)
		if (answers(b, &sensors[i]))
			nobody = 0;
	mutex_unlock(&lock);
	return nobody;
}

static void select_all(struct bus *b)
{
	int i;

	for (i = 0; i < SENSORS; i++)
		if (sensors[i].bus == b->number)
			sensors[i].selected = answers(b, &sensors[i]);
}

static void select_one(struct bus *b)
{
	u64 rom = 0;
	int i;

	for (i = 7; i >= 0; i--)
		rom = rom << 8 | b->match[i];
	for (i = 0; i < SENSORS; i++)
		if (sensors[i].bus == b->number)
			sensors[i].selected = answers(b, &sensors[i]) && sensors[i].rom == rom;
}

static void command(struct bus *b, u8 byte)
{
	b->count = 0;
	switch (byte) {
	case 0x44: /* convert */
		convert(b);
		b->state = IDLE;
		break;
	case 0xbe: /* read the scratchpad */
		b->state = READ_PAD;
		break;
	case 0x4e: /* write its bytes 2 to 4 */
		b->state = WRITE_PAD;
		break;
	default:
		b->state = IDLE;
	}
}

static void write_pad(struct bus *b, u8 byte)
{
	int i;

	for (i = 0; i < SENSORS && b->count < 3; i++)
		if (sensors[i].bus == b->number && sensors[i].selected) {
			sensors[i].pad[2 + b->count] = byte;
			seal(&sensors[i]);
		}
	b->count++;
}

static void bench_write(void *data, u8 byte)
{
	struct bus *b = data;

	mutex_lock(&lock);
	switch (b->state) {
	case ROM:
		b->state = IDLE;
		if (byte == 0xcc) { /* all */
			select_all(b);
			b->state = FUNCTION;
		} else if (byte == 0x55) {
			b->state = MATCH;
		}
		break;
	case MATCH:
		b->match[b->count++] = byte;
		if (b->count == 8) {
			select_one(b);
			b->state = FUNCTION;
		}
		break;
	case FUNCTION:
		command(b, byte);
		break;
	case WRITE_PAD:
		write_pad(b, byte);
		break;
	default:
		break;
	}
	mutex_unlock(&lock);
}

static u8 bench_read(void *data)
{
	struct bus *b = data;
	u8 byte = 0xff; /* nobody pulls the wire low */
	int i;

	mutex_lock(&lock);
	if (b->state == READ_PAD && b->count < PAD) {
		for (i = 0; i < SENSORS; i++) {
			struct sensor *s = &sensors[i];

			if (!answers(b, s) || !s->selected)
				continue;
			byte &= s->pad[b->count];
			if (s->mode == BAD_CRC && b->count == 0)
				byte ^= 0x20;
		}
		b->count++;
	}
	mutex_unlock(&lock);
	return byte;
}

/* Asked of a sensor's supply: 1 is from its own wire. */
static u8 bench_touch(void *data, u8 bit)
{
	return bit ? 1 : 0;
}

static void bench_search(void *data, struct w1_master *master, u8 kind, w1_slave_found_callback found)
{
	struct bus *b = data;
	u64 roms[SENSORS];
	int i, count = 0;

	mutex_lock(&lock);
	for (i = 0; i < SENSORS; i++)
		if (answers(b, &sensors[i]))
			roms[count++] = sensors[i].rom;
	mutex_unlock(&lock);
	for (i = 0; i < count; i++)
		found(master, roms[i]);
}

static u64 rom_of(u64 id)
{
	u8 bytes[8];
	u64 rom = 0x28 | id << 8;
	int i;

	for (i = 0; i < 7; i++)
		bytes[i] = rom >> (8 * i);
	return rom | (u64)w1_calc_crc8(bytes, 7) << 56;
}

static int set_sensor(int bus, u64 id, int code, const char *word)
{
	static const char *const words[] = { "ok", "gone", "crc", "reset" };
	int mode = match_string(words, ARRAY_SIZE(words), word);
	u64 rom = rom_of(id);
	struct sensor *s;
	int i;

	if (mode < 0 || bus < 1 || bus > BUSES)
		return -EINVAL;
	for (i = 0; i < SENSORS && sensors[i].used && sensors[i].rom != rom; i++)
		;
	if (i == SENSORS)
		return -ENOSPC;
	s = &sensors[i];
	if (!s->used || (mode == RESET && s->mode != RESET)) {
		memcpy(s->pad, POWER_ON, sizeof(POWER_ON));
		seal(s);
	}
	s->used = true;
	s->rom = rom;
	s->bus = bus;
	s->code = code;
	s->mode = mode;
	return 0;
}

static int set_bus(int number, const char *word)
{
	struct bus *b;
	int done = 0;

	if (number < 1 || number > BUSES)
		return -EINVAL;
	b = &buses[number - 1];
	if (sysfs_streq(word, "off")) {
		if (b->on)
			w1_remove_master_device(&b->master);
		b->on = false;
		return 0;
	}
	b->dead = sysfs_streq(word, "dead");
	if (!b->on) {
		b->number = number;
		b->master.data = b;
		b->master.reset_bus = bench_reset;
		b->master.write_byte = bench_write;
		b->master.read_byte = bench_read;
		b->master.touch_bit = bench_touch;
		b->master.search = bench_search;
		done = w1_add_master_device(&b->master);
		b->on = !done;
	}
	return done;
}

static ssize_t control_store(struct kobject *k, struct kobj_attribute *a, const char *text, size_t size)
{
	int bus, code, done = -EINVAL;
	unsigned long long id;
	char word[8];

	if (sscanf(text, "sensor %d %llx %d %7s", &bus, &id, &code, word) == 4) {
		mutex_lock(&lock);
		done = set_sensor(bus, id, code, word);
		mutex_unlock(&lock);
	} else if (sscanf(text, "bus %d %7s", &bus, word) == 2) {
		done = set_bus(bus, word);
	} else if (sscanf(text, "lose %d", &code) == 1) {
		lose = code;
		done = 0;
	}
	return done ? done : size;
}

static ssize_t conversions_show(struct kobject *k, struct kobj_attribute *a, char *text)
{
	return sysfs_emit(text, "%u\n", conversions);
}

static struct kobj_attribute control = __ATTR_WO(control);
static struct kobj_attribute counted = __ATTR_RO(conversions);

static int __init bench_init(void)
{
	int done;

	folder = kobject_create_and_add("w1_bench", kernel_kobj);
	if (!folder)
		return -ENOMEM;
	done = sysfs_create_file(folder, &control.attr);
	if (!done)
		done = sysfs_create_file(folder, &counted.attr);
	if (done)
		kobject_put(folder);
	return done;
}

static void __exit bench_exit(void)
{
	int i;

	kobject_put(folder);
	for (i = 0; i < BUSES; i++)
		if (buses[i].on)
			w1_remove_master_device(&buses[i].master);
}

module_init(bench_init);
module_exit(bench_exit);
MODULE_LICENSE("Dual MIT/GPL");
MODULE_DESCRIPTION("1-Wire bus master with simulated thermometers");
