# Sourced by deploy/install: the mosquitto broker, its accounts, what each may read and write, and TLS.
# shellcheck shell=bash

BROKER_CONFIGURATION=/etc/mosquitto/conf.d/brinebell.conf
# One folder, readable by the broker: users with hashed passwords, and their rights.
USERS=/etc/mosquitto/brinebell.users
RIGHTS=/etc/mosquitto/brinebell.rights
TLS_FOLDER=/etc/mosquitto/brinebell-tls
# Passwords in clear, for who sets up a board later: for root alone.
PASSWORDS=/etc/brinebell/passwords

set_up_broker() {
    local is_changed=""
    refuse_other_listeners
    put_folder "$PASSWORDS" 700 root:root
    add_account service brinebell
    if [[ ! $is_dry && ! -f $SERVICE_PASSWORD ]]; then
        install -m 600 -o brinebell -g brinebell "$PASSWORDS/brinebell" "$SERVICE_PASSWORD"
    fi
    local one
    for one in "${boards[@]}"; do add_account board "$one"; done
    for one in "${others[@]}"; do add_account "${one%%:*}" "${one#*:}"; done
    [[ $tls ]] || { tls=no; [[ ! -f $TLS_FOLDER/server.crt ]] || tls=yes; }
    [[ $tls != yes ]] || make_certificates
    put "$BROKER_CONFIGURATION" 644 root:root < <(cat deploy/mosquitto/brinebell.conf; access_lines)
    if [[ ! $is_changed ]]; then
        say "The broker is as it must be."
    elif has_systemd; then
        change "Starting the broker anew" systemctl restart mosquitto
        [[ $is_dry ]] || systemctl is-active --quiet mosquitto ||
            fail "mosquitto does not start with this configuration: journalctl -u mosquitto tells why"
    else
        say "systemd does not run here: the broker was not started."
    fi
}

# Two files that say who may connect would make one of them a surprise.
refuse_other_listeners() {
    local file
    for file in /etc/mosquitto/mosquitto.conf /etc/mosquitto/conf.d/*.conf; do
        [[ -f $file && $file != "$BROKER_CONFIGURATION" ]] || continue
        if grep -Eq '^[[:space:]]*(listener|port|allow_anonymous|password_file|acl_file|per_listener_settings)[[:space:]]' "$file"; then
            fail "$file has a broker of your own in it. Give --broker 127.0.0.1 to leave it alone, and add the lines of \
deploy/mosquitto to it yourself; or move these lines away: listener, port, allow_anonymous, password_file, acl_file"
        fi
    done
}

access_lines() {
    cat <<TEXT

# Written by deploy/install: who may connect, and where. Lines of your own belong into another file beside this one.
allow_anonymous false
password_file $USERS
acl_file $RIGHTS
TEXT
    if [[ $tls == yes ]]; then
        cat <<TEXT
# Without TLS from this machine alone.
listener 1883 127.0.0.1
listener 8883
certfile $TLS_FOLDER/server.crt
keyfile $TLS_FOLDER/server.key
tls_version tlsv1.2
TEXT
    else
        printf 'listener 1883\n'
    fi
}

# An account of a kind that deploy/mosquitto/rights knows; one that exists stays as it is.
add_account() {
    local kind=$1 name=$2 password
    if ! grep -qx "user $name" "$RIGHTS" 2>/dev/null; then
        change "Giving $name the rights of a $kind at the broker" true
        put "$RIGHTS" 600 mosquitto:mosquitto quietly < <(
            [[ ! -f $RIGHTS ]] || { cat "$RIGHTS"; echo; }
            sed "s/NAME/$name/g" "deploy/mosquitto/rights/$kind"
        )
    fi
    grep -q "^$name:" "$USERS" 2>/dev/null && return 0
    is_changed=yes
    change "Giving $name a password at the broker" true
    [[ ! $is_dry ]] || return 0
    # 120 bits, and nothing that a configuration file or a board's source would have to escape.
    password=$(od -An -N15 -tx1 /dev/urandom | tr -d ' \n')
    (umask 077; printf '%s\n' "$password" >"$PASSWORDS/$name")
    (umask 077; touch "$USERS")
    # Not as an argument, which others on this machine could read: in a file that is then hashed, and added.
    local fresh
    fresh=$(mktemp)
    printf '%s:%s\n' "$name" "$password" >"$fresh"
    mosquitto_passwd -U "$fresh"
    cat "$fresh" >>"$USERS"
    rm -f "$fresh"
    chown mosquitto:mosquitto "$USERS"
}

account_names() {
    { [[ ! -f $RIGHTS ]] || sed -n 's/^user //p' "$RIGHTS"; [[ ! $is_dry ]] || printf '%s\n' "${boards[@]}" "${others[@]#*:}"; } |
        { grep -vx -e brinebell -e '' || true; } | sort -u
}

# What an account may write, in a word.
rights_text() {
    local topics
    topics=$(awk -v name="$1" '$1 == "user" { on = $2 == name } on && $2 == "write" { printf "%s%s", sep, $3; sep = ", " }' \
        "$RIGHTS" 2>/dev/null || true)
    [[ ! $topics ]] || printf '; may publish to %s' "$topics"
}

# An authority of this house alone, and a certificate of the broker by it; both are made once.
make_certificates() {
    local names
    [[ ! -f $TLS_FOLDER/server.crt ]] || return 0
    put_folder "$TLS_FOLDER" 755 root:root
    is_changed=yes
    names="DNS:$(hostname),DNS:$(hostname).local,DNS:localhost,IP:127.0.0.1"
    [[ $(machine_address) =~ ^[0-9.]+$ ]] && names+=",IP:$(machine_address)"
    change "Making an authority and a certificate of the broker, for $names" true
    [[ ! $is_dry ]] || return 0
    (
        umask 077
        cd "$TLS_FOLDER"
        # Long-lived: who replaces it has to visit each board.
        openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 7300 -keyout ca.key -out ca.crt \
            -subj "/CN=Brinebell broker authority of $(hostname)" \
            -addext "basicConstraints=critical,CA:TRUE" -addext "keyUsage=critical,keyCertSign,cRLSign" 2>/dev/null
        openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -keyout server.key -out server.csr \
            -subj "/CN=$(hostname)" 2>/dev/null
        openssl x509 -req -in server.csr -CA ca.crt -CAkey ca.key -CAcreateserial -days 7300 -out server.crt.new \
            -extfile <(printf 'subjectAltName=%s\nextendedKeyUsage=serverAuth\n' "$names") 2>/dev/null
        rm -f server.csr
        chown mosquitto:mosquitto server.key server.crt.new
        chmod 644 ca.crt server.crt.new
        mv server.crt.new server.crt
    )
}
