/*
 * A USB port without a cable, for tests: libgphoto2 loads it from the folder that the environment variable IOLIBS names,
 * and what it reads and writes goes through a Unix socket to a PTP responder in the test (tests/wire/ptp/virtual-usb.ts).
 * It moves bytes and knows nothing of PTP.
 *
 * VIRTUAL_BODY_SOCKETS names the sockets of the bodies that are plugged in, separated by colons. The first is the device
 * usb:001,002, the next usb:001,003 and so on. A body is there as long as its socket takes connections.
 *
 * One request and one reply at a time, integers in the byte order of the machine (both ends run on the same one):
 *
 *   request: uint8 operation, uint32 argument, uint32 length, bytes
 *   reply:   int32 status (a result code of libgphoto2, below 0 an error), uint32 length, bytes
 *
 *   operation         argument                bytes of the request    bytes of the reply
 *   1 bulk out        unused                  what is written         none
 *   2 bulk in         most bytes wanted       none                    what was read
 *   3 interrupt       milliseconds to wait    none                    one event
 *
 * Where a file lies beside the socket, under its name with `.refused` behind it, the port cannot be opened: the file holds the
 * result code that opening returns (another program holds the body, or this user may not open it). The body is still found.
 *
 * When the responder does not answer in time, or the connection breaks, the connection is given up: a late reply must not
 * be taken for the answer to the next request.
 */
#include "port-operations.h"

#include <errno.h>
#include <gphoto2/gphoto2-port-result.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <unistd.h>

/* Not known everywhere; where it is not, Node has already silenced the signal that it would keep away. */
#ifndef MSG_NOSIGNAL
#define MSG_NOSIGNAL 0
#endif

#define SOCKETS_VARIABLE "VIRTUAL_BODY_SOCKETS"
#define SOCKETS_SEPARATOR ':'
#define PATH_FORMAT "usb:001,%03d"
#define FIRST_DEVICE 2
#define REFUSED ".refused"

/* The class of still image devices (USB still image capture device definition, 1.0). */
#define CLASS_IMAGE 6
#define SUBCLASS_STILL 1
#define PROTOCOL_PTP 1

/* A high-speed bulk endpoint. */
#define PACKET_SIZE 512

/* What the responder may need beyond the wait that it was asked for. */
#define GRACE_MS 1000
/* For the interrupt endpoint, which always answers: a busy machine may keep the test's process from it, and is no pulled cable. */
#define INTERRUPT_GRACE_MS 20000

enum operation { BULK_OUT = 1, BULK_IN = 2, INTERRUPT_IN = 3 };

/* The two frames as they travel. */
#pragma pack(push, 1)
struct request_head {
	uint8_t operation;
	uint32_t argument;
	uint32_t length;
};
struct reply_head {
	int32_t status;
	uint32_t length;
};
#pragma pack(pop)

/* libgphoto2 declares this name and leaves the contents to the port. */
struct _GPPortPrivateLibrary {
	int socket; /* -1 while not connected */
};

/* ---- Which socket belongs to a port ------------------------------------------------------------------------------- */

/* Copies the path of the nth socket of the variable, counted from 0. Returns its length, or -1 where there is none. */
static int
socket_path(int number, char *path, size_t size)
{
	const char *start = getenv(SOCKETS_VARIABLE);

	while (start != NULL && *start != '\0') {
		const char *end = strchr(start, SOCKETS_SEPARATOR);
		size_t length = end != NULL ? (size_t)(end - start) : strlen(start);

		if (number == 0) {
			if (length == 0 || length >= size)
				return -1;
			memcpy(path, start, length);
			path[length] = '\0';
			return (int)length;
		}
		number--;
		start = end != NULL ? end + 1 : NULL;
	}
	return -1;
}

/* Returns the number of the port's device, counted from 0, or -1 where its path is none of ours. */
static int
device_number(GPPort *port)
{
	GPPortInfo info;
	char *path = NULL;
	int device = 0;

	if (gp_port_get_info(port, &info) < GP_OK || gp_port_info_get_path(info, &path) < GP_OK)
		return -1;
	if (sscanf(path, PATH_FORMAT, &device) != 1 || device < FIRST_DEVICE)
		return -1;
	return device - FIRST_DEVICE;
}

/* ---- The connection ----------------------------------------------------------------------------------------------- */

static void
disconnect(GPPort *port)
{
	if (port->pl->socket >= 0)
		close(port->pl->socket);
	port->pl->socket = -1;
}

static int
connect_to_body(GPPort *port)
{
	struct sockaddr_un address = { .sun_family = AF_UNIX };
	int number;
	int fd;

	if (port->pl->socket >= 0)
		return GP_OK;
	number = device_number(port);
	if (number < 0 || socket_path(number, address.sun_path, sizeof(address.sun_path)) < 0)
		return GP_ERROR_IO_USB_FIND;
	fd = socket(AF_UNIX, SOCK_STREAM, 0);
	if (fd < 0)
		return GP_ERROR_IO;
	if (connect(fd, (const struct sockaddr *)&address, sizeof(address)) < 0) {
		close(fd);
		return GP_ERROR_IO_USB_FIND;
	}
	port->pl->socket = fd;
	return GP_OK;
}

/* A device that is no longer there: the code that libgphoto2's own USB port gives. */
static int
lost(GPPort *port)
{
	disconnect(port);
	return GP_ERROR_IO_USB_FIND;
}

static int
send_all(GPPort *port, const void *bytes, size_t size)
{
	const char *next = bytes;

	while (size > 0) {
		ssize_t sent = send(port->pl->socket, next, size, MSG_NOSIGNAL);

		if (sent < 0 && errno == EINTR)
			continue;
		if (sent <= 0)
			return lost(port);
		next += sent;
		size -= (size_t)sent;
	}
	return GP_OK;
}

static int
receive_all(GPPort *port, void *bytes, size_t size)
{
	char *next = bytes;

	while (size > 0) {
		ssize_t received = recv(port->pl->socket, next, size, 0);

		if (received < 0 && errno == EINTR)
			continue;
		if (received < 0 && (errno == EAGAIN || errno == EWOULDBLOCK)) {
			disconnect(port);
			return GP_ERROR_TIMEOUT;
		}
		if (received <= 0)
			return lost(port);
		next += received;
		size -= (size_t)received;
	}
	return GP_OK;
}

static int
limit_wait(GPPort *port, int milliseconds)
{
	struct timeval limit = { .tv_sec = milliseconds / 1000, .tv_usec = (milliseconds % 1000) * 1000 };

	if (setsockopt(port->pl->socket, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof(limit)) < 0)
		return lost(port);
	return GP_OK;
}

/*
 * One request and its reply. The reply's bytes go to `in`, at most `room` of them.
 * Returns the reply's status, or an error of the connection.
 */
static int
exchange(GPPort *port, enum operation operation, uint32_t argument, const void *out, uint32_t length, void *in,
	 uint32_t room, int wait_ms)
{
	struct request_head request = { .operation = (uint8_t)operation, .argument = argument, .length = length };
	struct reply_head reply;
	int result;

	if (port->pl->socket < 0)
		return GP_ERROR_IO_USB_FIND;
	if ((result = limit_wait(port, wait_ms)) < GP_OK)
		return result;
	if ((result = send_all(port, &request, sizeof(request))) < GP_OK)
		return result;
	if ((result = send_all(port, out, length)) < GP_OK)
		return result;
	if ((result = receive_all(port, &reply, sizeof(reply))) < GP_OK)
		return result;
	if (reply.length > room) {
		disconnect(port);
		return GP_ERROR_IO;
	}
	if ((result = receive_all(port, in, reply.length)) < GP_OK)
		return result;
	return reply.status;
}

/* ---- The operations ----------------------------------------------------------------------------------------------- */

static int
port_init(GPPort *port)
{
	port->pl = calloc(1, sizeof(*port->pl));
	if (port->pl == NULL)
		return GP_ERROR_NO_MEMORY;
	port->pl->socket = -1;
	return GP_OK;
}

static int
port_exit(GPPort *port)
{
	if (port->pl == NULL)
		return GP_OK;
	disconnect(port);
	free(port->pl);
	port->pl = NULL;
	return GP_OK;
}

/* Returns the result code that opening is to fail with, or GP_OK. */
static int
refusal(GPPort *port)
{
	char path[256];
	FILE *file;
	int number = device_number(port);
	int length = number < 0 ? -1 : socket_path(number, path, sizeof(path) - sizeof(REFUSED));
	int code = GP_OK;

	if (length < 0)
		return GP_OK;
	memcpy(path + length, REFUSED, sizeof(REFUSED));
	file = fopen(path, "r");
	if (file == NULL)
		return GP_OK;
	if (fscanf(file, "%d", &code) != 1 || code > GP_OK)
		code = GP_ERROR_IO;
	fclose(file);
	return code;
}

static int
port_open(GPPort *port)
{
	int result = refusal(port);

	return result < GP_OK ? result : connect_to_body(port);
}

static int
port_close(GPPort *port)
{
	if (port->pl != NULL)
		disconnect(port);
	return GP_OK;
}

static int
port_write(GPPort *port, const char *bytes, int size)
{
	return exchange(port, BULK_OUT, 0, bytes, (uint32_t)size, NULL, 0, port->timeout + GRACE_MS);
}

static int
port_read(GPPort *port, char *bytes, int size)
{
	return exchange(port, BULK_IN, (uint32_t)size, NULL, 0, bytes, (uint32_t)size, port->timeout + GRACE_MS);
}

static int
port_check_interrupt(GPPort *port, char *bytes, int size, int timeout_ms)
{
	return exchange(port, INTERRUPT_IN, (uint32_t)timeout_ms, NULL, 0, bytes, (uint32_t)size,
			timeout_ms + INTERRUPT_GRACE_MS);
}

/* Bodies are found by their class alone: vendor and product numbers would name a maker. */
static int
port_find_device(GPPort *port, int vendor, int product)
{
	(void)port;
	(void)vendor;
	(void)product;
	return GP_ERROR_IO_USB_FIND;
}

static int
port_find_device_by_class(GPPort *port, int device_class, int subclass, int protocol)
{
	int result;

	if (device_class != CLASS_IMAGE || subclass != SUBCLASS_STILL || protocol != PROTOCOL_PTP)
		return GP_ERROR_IO_USB_FIND;
	result = connect_to_body(port);
	disconnect(port);
	if (result < GP_OK)
		return GP_ERROR_IO_USB_FIND;
	port->settings.usb.config = 1;
	port->settings.usb.interface = 0;
	port->settings.usb.altsetting = 0;
	port->settings.usb.inep = 0x81;
	port->settings.usb.outep = 0x02;
	port->settings.usb.intep = 0x83;
	port->settings.usb.maxpacketsize = PACKET_SIZE;
	return GP_OK;
}

static int
port_update(GPPort *port)
{
	(void)port;
	return GP_OK;
}

static int
port_reset(GPPort *port)
{
	(void)port;
	return GP_OK;
}

static int
port_clear_halt(GPPort *port, int endpoint)
{
	(void)port;
	(void)endpoint;
	return GP_OK;
}

/* Control messages carry resets and cancellations only: taken, and without effect. */
static int
port_control_message(GPPort *port, int request, int value, int index, char *bytes, int size)
{
	(void)port;
	(void)request;
	(void)value;
	(void)index;
	(void)bytes;
	return size;
}

/* ---- What libgphoto2 looks for ------------------------------------------------------------------------------------ */

GPPortType
gp_port_library_type(void)
{
	return GP_PORT_USB;
}

int
gp_port_library_list(GPPortInfoList *list)
{
	struct sockaddr_un address;
	char path[32];
	int number;
	int result;

	for (number = 0; socket_path(number, address.sun_path, sizeof(address.sun_path)) > 0; number++) {
		GPPortInfo info;

		if ((result = gp_port_info_new(&info)) < GP_OK)
			return result;
		snprintf(path, sizeof(path), PATH_FORMAT, FIRST_DEVICE + number);
		gp_port_info_set_type(info, GP_PORT_USB);
		gp_port_info_set_name(info, "Virtual USB port");
		gp_port_info_set_path(info, path);
		if ((result = gp_port_info_list_append(list, info)) < GP_OK)
			return result;
	}
	return GP_OK;
}

GPPortOperations *
gp_port_library_operations(void)
{
	GPPortOperations *operations = calloc(1, sizeof(*operations));

	if (operations == NULL)
		return NULL;
	operations->init = port_init;
	operations->exit = port_exit;
	operations->open = port_open;
	operations->close = port_close;
	operations->read = port_read;
	operations->check_int = port_check_interrupt;
	operations->write = port_write;
	operations->update = port_update;
	operations->find_device = port_find_device;
	operations->find_device_by_class = port_find_device_by_class;
	operations->clear_halt = port_clear_halt;
	operations->msg_write = port_control_message;
	operations->msg_read = port_control_message;
	operations->msg_interface_write = port_control_message;
	operations->msg_interface_read = port_control_message;
	operations->msg_class_write = port_control_message;
	operations->msg_class_read = port_control_message;
	operations->reset = port_reset;
	return operations;
}
